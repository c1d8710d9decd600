"""Kernels are compiled by one decorator, know only numbers, allocate nothing and raise nothing."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import stagefx
import stagefx_cli

LIBRARY = Path(stagefx.__file__).parent
COMMAND_LINE = Path(stagefx_cli.__file__).parent
DECORATOR = LIBRARY / "kernels" / "_jit.py"

MAY_IMPORT = {"__future__", "math", "numpy", "numpy.typing", "stagefx.kernels._jit"}
ALLOCATES = {
    "append", "arange", "array", "asarray", "ascontiguousarray", "concatenate", "copy", "empty",
    "empty_like", "full", "full_like", "hstack", "linspace", "ones", "ones_like", "stack",
    "vstack", "zeros", "zeros_like",
}  # fmt: skip


def imported(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


def broken_rules(source: str) -> list[str]:
    """Which rules a file of kernels breaks."""
    tree = ast.parse(source)
    found = [f"imports {name}" for name in imported(tree) if name not in MAY_IMPORT]
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.Lambda | ast.AsyncFunctionDef):
            decorators = [ast.unparse(one) for one in getattr(node, "decorator_list", [])]
            if decorators != ["jit"]:
                found.append(f"{getattr(node, 'name', 'lambda')} is decorated with {decorators}")
        elif isinstance(node, ast.Raise | ast.Assert):
            found.append(f"raises in line {node.lineno}")
        elif isinstance(node, ast.Call) and getattr(node.func, "attr", None) in ALLOCATES:
            found.append(f"allocates by {ast.unparse(node.func)} in line {node.lineno}")
    return found


def kernel_files() -> list[Path]:
    return sorted(set((LIBRARY / "kernels").glob("*.py")) - {DECORATOR})


def test_every_kernel_file_keeps_the_rules() -> None:
    found = {path.name: broken_rules(path.read_text(encoding="utf-8")) for path in kernel_files()}
    assert not any(found.values()), found


def test_nothing_else_imports_the_compiler() -> None:
    users = [
        path
        for folder in (LIBRARY, COMMAND_LINE)
        for path in folder.rglob("*.py")
        if any(
            name.split(".")[0] in {"numba", "llvmlite"}
            for name in imported(ast.parse(path.read_text(encoding="utf-8")))
        )
    ]
    assert users == [DECORATOR]


@pytest.mark.parametrize(
    ("source", "rule"),
    [
        ("import scipy", "imports scipy"),
        ("from numba import njit", "imports numba"),
        ("def loop(x):\n    return x", "loop is decorated with []"),
        (
            "@jit(fast=True)\ndef loop(x):\n    return x",
            "loop is decorated with ['jit(fast=True)']",
        ),
        ("@jit\ndef loop(x):\n    raise ValueError", "raises in line 3"),
        ("@jit\ndef loop(x):\n    return np.zeros(3)", "allocates by np.zeros in line 3"),
    ],
)
def test_a_broken_rule_is_found(source: str, rule: str) -> None:
    assert broken_rules(source) == [rule]


def test_a_proper_kernel_breaks_no_rule() -> None:
    source = "import math\nimport numpy as np\n@jit\ndef loop(x):\n    return math.sqrt(x[0])"
    assert broken_rules(source) == []
