"""The built package, installed where its source is out of reach and little else is there."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from zipfile import ZipFile

import pytest

from tests.cli.short_music import short_music
from tests.knocks.counts import WHOLE

ROOT = Path(__file__).parents[2]
NOT_SOURCE = shutil.ignore_patterns(
    ".*", "*.egg-info", "__pycache__", "build", "dist", "demo", "bench-results", "fuzz-findings"
)


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The package, built without a network from a copy of the source."""
    place = tmp_path_factory.mktemp("wheel")
    shutil.copytree(ROOT, place / "source", ignore=NOT_SOURCE)
    _pip("wheel", "--no-build-isolation", "--wheel-dir", place, place / "source")
    shutil.rmtree(place / "source")
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


@pytest.fixture(scope="module")
def site(wheel: Path) -> Iterator[Path]:
    """Where the wheel is installed; not even root can write there, if root is at work."""
    place = wheel.parent / "site"
    _pip("install", "--target", place, wheel)
    bound = ["mount", "--bind", "-o", "ro", str(place), str(place)]
    mounted = not subprocess.run(bound, capture_output=True, check=False).returncode
    if not mounted:
        for path in (place, *(path for path in place.rglob("*") if path.is_dir())):
            path.chmod(0o555)
    yield place
    if mounted:
        subprocess.run(["umount", "--lazy", str(place)], check=True)
    for path in (place, *(path for path in place.rglob("*") if path.is_dir())):
        path.chmod(0o755)


@pytest.mark.slow
def test_an_installed_wheel_finds_its_own_parts(site: Path, tmp_path: Path) -> None:
    script = (
        "import stagefx, stagefx_cli.main\n"
        "from stagefx.samples import samples_folder\n"
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


NOWHERE = {"HOME": "/proc/nowhere", "TMPDIR": "", "PATH": "", "LANG": "C", "LC_ALL": "C"}
"""No home, no programs beside, no language; and no cache that was made for a test."""


def installed(site: Path, folder: Path, *arguments: str, **more: str) -> str:
    """What the installed program says on standard output; nothing on standard error."""
    there = NOWHERE | {"PYTHONPATH": str(site), "TMPDIR": str(folder)} | more
    done = subprocess.run(
        [sys.executable, "-m", "stagefx_cli", *arguments],
        capture_output=True,
        cwd=folder,
        env=there,
        check=False,
        timeout=300,
    )
    said = done.stderr.decode("ascii")  # what LANG=C can show
    assert done.returncode in {0, 1}, said
    assert said == ""
    return done.stdout.decode(more.get("PYTHONIOENCODING", "utf-8"))


@pytest.mark.slow
def test_the_installed_wheel_does_the_whole_job_from_nowhere(site: Path, tmp_path: Path) -> None:
    """Its folder cannot be written, so that nothing compiled is kept; there is no home either."""
    short_music(tmp_path / "piece.flac", seconds=1.5)
    (tmp_path / "many").mkdir()
    os.link(tmp_path / "piece.flac", tmp_path / "many" / "a.flac")
    (tmp_path / "question.toml").write_text(
        'ask = "Heard?"\nbaseline = "line-stage"\nchange = "wire"\nmusic = "piece.flac"\n'
    )
    assert "gain" in installed(site, tmp_path, "figures", "line-stage", "--plot", "figures.png")
    installed(site, tmp_path, "render", "line-stage", "piece.flac", "out.flac")
    if not WHOLE:  # each of these compiles all its kernels anew
        return
    found = installed(site, tmp_path, "answer", "question.toml", "answered", "--json")
    assert json.loads(found)
    ascii_alone = {"PYTHONUTF8": "0", "PYTHONIOENCODING": "ascii"}
    told = installed(site, tmp_path, "answer", "question.toml", "again", **ascii_alone)
    assert "?line stage?" in told  # with better quotation marks where there are any
    assert (tmp_path / "answered" / "answer.html").stat().st_size > 10_000
    installed(site, tmp_path, "survey", "line-stage", "many", "--jobs", "2", "--out", "s.jsonl")
    pack = ("blind", "prepare", "line-stage", "wire", "piece.flac", "pack", "--key", "key.json")
    installed(site, tmp_path, *pack, "--trials", "4")
    assert list((tmp_path / "pack").glob("*.html"))


@pytest.mark.slow
@pytest.mark.parametrize(
    "terminal",
    [{"COLUMNS": "20"}, {"COLUMNS": "nonsense"}, {"NO_COLOR": "1"}, {"TERM": "dumb"},
     {"PYTHONUTF8": "0", "PYTHONIOENCODING": "ascii"}],
    ids="-".join,
)  # fmt: skip
def test_any_terminal_will_do(site: Path, tmp_path: Path, terminal: dict[str, str]) -> None:
    assert "gain" in installed(site, tmp_path, "figures", "line-stage", **terminal)


@pytest.mark.slow
def test_what_a_bug_report_needs_tells_nothing_of_the_person(site: Path, tmp_path: Path) -> None:
    told = json.loads(installed(site, tmp_path, "--version", "--json"))
    assert {"stagefx", "python", "system", "machine", "libsndfile", "libraries"} <= set(told)
    assert {"numpy", "numba", "soundfile"} <= set(told["libraries"])
    text = json.dumps(told)
    for private in (f'"{os.uname().nodename}"', str(site), str(tmp_path), sys.prefix):
        assert private not in text
