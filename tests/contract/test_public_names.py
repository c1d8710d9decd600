"""The names of `stagefx`: lazily loaded, typed alike, and all there."""

from __future__ import annotations

import ast
import importlib
import pkgutil
from pathlib import Path

import pytest

import stagefx

NAMES = [name for name in stagefx.__all__ if name != "__version__"]


def typed_names() -> dict[str, str]:
    """Name and home of everything that type checkers are told of."""
    tree = ast.parse(Path(stagefx.__file__).read_text(encoding="utf-8"))
    (block,) = (
        node
        for node in tree.body
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
    )
    return {
        alias.asname or alias.name: node.module or ""
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }


def test_type_checkers_are_told_the_same_names_and_homes() -> None:
    assert typed_names() == stagefx._HOMES


@pytest.mark.parametrize("name", NAMES)
def test_each_name_is_loaded_from_its_home(name: str) -> None:
    home = importlib.import_module(stagefx._HOMES[name])
    assert getattr(stagefx, name) is getattr(home, name)
    assert name in dir(stagefx)


def test_no_name_hides_a_module() -> None:
    hidden = {module.name for module in pkgutil.iter_modules(stagefx.__path__)} & set(NAMES)
    assert not hidden


def test_the_version_is_the_installed_one() -> None:
    assert stagefx.__version__ == importlib.metadata.version("stagefx")


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'unknown'"):
        _ = stagefx.unknown
