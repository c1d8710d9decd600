"""What a clone and a built package hold."""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from zipfile import ZipFile

import pytest

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
NOT_SOURCE = shutil.ignore_patterns(
    ".*", "*.egg-info", "__pycache__", "build", "dist", "demo", "bench-results"
)


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


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The package, built without a network from a copy of the source."""
    place = tmp_path_factory.mktemp("wheel")
    shutil.copytree(ROOT, place / "source", ignore=NOT_SOURCE)
    _pip("wheel", "--no-build-isolation", "--wheel-dir", place, place / "source")
    (built,) = place.glob("*.whl")
    return built


def _pip(command: str, *arguments: str | Path) -> None:
    offline = ["--no-deps", "--no-index", "--quiet", "--disable-pip-version-check"]
    subprocess.run([sys.executable, "-m", "pip", command, *offline, *arguments], check=True)


@pytest.mark.slow
def test_the_wheel_holds_library_command_line_and_samples(wheel: Path) -> None:
    expected = {
        target + path.relative_to(ROOT / folder).as_posix()
        for folder, target in {
            "stagefx": "stagefx/",
            "cli": "stagefx_cli/",
            "samples": "stagefx/_samples/",
        }.items()
        for path in (ROOT / folder).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    held = {name for name in ZipFile(wheel).namelist() if ".dist-info/" not in name}
    assert held == expected
    assert "stagefx_cli/main.py" in held


@pytest.mark.slow
def test_an_installed_wheel_finds_its_own_parts(wheel: Path, tmp_path: Path) -> None:
    site = tmp_path / "site"
    _pip("install", "--target", site, wheel)
    script = (
        "import stagefx, stagefx_cli.main\n"
        "from stagefx.evidence.scenario import samples_folder\n"
        "print(stagefx.__file__, stagefx_cli.__file__, samples_folder(), sep='\\n')"
    )
    done = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        check=True,
        cwd=tmp_path,
        env={"PYTHONPATH": str(site)},
    )
    assert done.stdout.split() == [
        str(site / "stagefx" / "__init__.py"),
        str(site / "stagefx_cli" / "__init__.py"),
        str(site / "stagefx" / "_samples"),
    ]


def test_nothing_is_installed_under_a_name_that_could_collide(tmp_path: Path) -> None:
    script = "import importlib.util as u; print(u.find_spec('cli'), u.find_spec('tests'))"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=tmp_path
    )
    assert done.stdout.split() == ["None", "None"]
    assert importlib.util.find_spec("stagefx_cli") is not None
