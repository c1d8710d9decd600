"""What a clone and a built package hold."""

from __future__ import annotations

import ast
import importlib.util
import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def test_the_readme_begins_with_the_job() -> None:
    title, job, *_ = (ROOT / "README.md").read_text(encoding="utf-8").split("\n\n")
    assert title == "# stagefx"
    for word in ("line-level", "model", "music", "measures", "hearing"):
        assert word in job


def test_the_readme_names_the_two_commands() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert "make demo" in text
    assert "make test" in text


def test_every_package_folder_is_listed_for_the_build() -> None:
    there = {
        ".".join([name, *path.parent.relative_to(ROOT / folder).parts])
        for folder, name in {"stagefx": "stagefx", "cli": "stagefx_cli"}.items()
        for kind in ("*.py", "*.toml", "*.json")
        for path in (ROOT / folder).rglob(kind)
    }
    assert set(PROJECT["tool"]["setuptools"]["packages"]) == there | {"stagefx._samples"}


def test_dependencies_have_lower_bounds_only() -> None:
    extras = PROJECT["project"]["optional-dependencies"].values()
    needed = [*PROJECT["project"]["dependencies"], *(one for extra in extras for one in extra)]
    for one in needed:
        assert ">=" in one
        assert not set("<~!,") & set(one)


def test_nothing_is_installed_under_a_name_that_could_collide(tmp_path: Path) -> None:
    script = "import importlib.util as u; print(u.find_spec('cli'), u.find_spec('tests'))"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=tmp_path
    )
    assert done.stdout.split() == ["None", "None"]
    assert importlib.util.find_spec("stagefx_cli") is not None


MOST_ENTRIES, MOST_LINES = 15, 400
TOP_ENTRIES = 19
OWN_STORY = {"stagefx/kernels/limiter.py", "stagefx/kernels/events.py"}
"""Kernels whose law is one story: they may be longer."""


def _modules() -> list[Path]:
    return [path for name in ("stagefx", "cli") for path in (ROOT / name).rglob("*.py")]


def test_a_folder_is_taken_in_at_a_glance() -> None:
    for folder in {path.parent for path in _modules()}:
        most = TOP_ENTRIES if folder == ROOT / "stagefx" else MOST_ENTRIES
        modules = {path.name for path in folder.glob("*.py")} - {"__init__.py"}
        folders = {path.parent.name for path in folder.glob("*/__init__.py")}
        assert len(modules | folders) <= most, folder.relative_to(ROOT)


def test_no_module_is_longer_than_its_idea() -> None:
    long = {
        path.relative_to(ROOT).as_posix()
        for path in _modules()
        if len(path.read_text(encoding="utf-8").splitlines()) > MOST_LINES
    }
    assert long <= OWN_STORY


def test_no_package_hides_a_module_of_its_own() -> None:
    """``from stagefx import align`` must not mean two things, by what was imported before."""
    packages = {path.parent for path in _modules() if path.name == "__init__.py"}
    for folder in packages:
        source = (folder / "__init__.py").read_text(encoding="utf-8")
        inside = {path.stem for path in folder.glob("*.py")}
        inside |= {path.parent.name for path in folder.glob("*/__init__.py")}
        names = {
            alias.asname or alias.name
            for node in ast.walk(ast.parse(source))
            if isinstance(node, ast.ImportFrom)
            for alias in node.names
        }
        assert not inside & names, folder.relative_to(ROOT)
