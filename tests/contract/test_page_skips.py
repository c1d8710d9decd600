"""A test that wants a program is skipped loudly, or fails the run where skips are not allowed."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]


def run_one_test(
    folder: Path, *, programs: tuple[str, ...], marker: str = "page", **setting: str
) -> tuple[int, str]:
    """Exit code and output of a run with one marked test, where only some programs are there."""
    (folder / "conftest.py").write_text((TESTS / "conftest.py").read_text(encoding="utf-8"))
    markers = "  page: p\n  simulator: s\n  kernel: k\n"
    (folder / "pytest.ini").write_text(f"[pytest]\nmarkers =\n{markers}")
    (folder / "test_one.py").write_text(
        f"import pytest\n\n@pytest.mark.{marker}\ndef test_it(): pass\n\ndef test_other(): pass\n"
    )
    path = folder / "bin"
    path.mkdir()
    for program in programs:
        (path / program).write_text("")
        (path / program).chmod(0o755)
    environment = {k: v for k, v in os.environ.items() if k not in {"CI", "STAGEFX_NO_SKIP"}}
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "xdist", "-n", "1", "."],
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
        env={**environment, **setting, "PATH": str(path)},
    )
    return done.returncode, done.stdout


def test_with_a_browser_nothing_is_skipped(tmp_path: Path) -> None:
    code, output = run_one_test(tmp_path, programs=("chromium", "node", "tsc"), CI="true")
    assert code == 0
    assert "2 passed" in output
    assert "SKIPPED" not in output


def test_without_a_browser_one_loud_line_says_so(tmp_path: Path) -> None:
    code, output = run_one_test(tmp_path, programs=("node", "tsc"))
    assert code == 0
    loud = [line for line in output.splitlines() if line.startswith("PAGE TESTS SKIPPED")]
    assert loud == ["PAGE TESTS SKIPPED: 1, for want of chromium, so no page was tested"]


@pytest.mark.parametrize("setting", [{"CI": "true"}, {"STAGEFX_NO_SKIP": "1"}])
def test_where_skips_are_not_allowed_the_run_fails(tmp_path: Path, setting: dict[str, str]) -> None:
    code, output = run_one_test(tmp_path, programs=(), **setting)
    assert code == 1
    assert "PAGE TESTS SKIPPED: 1, for want of chromium and node and tsc, which fails" in output


def test_without_a_simulator_a_loud_line_names_its_package(tmp_path: Path) -> None:
    code, output = run_one_test(tmp_path, programs=(), marker="simulator")
    assert code == 0
    loud = [line for line in output.splitlines() if "TESTS SKIPPED" in line]
    assert loud == ["SIMULATOR TESTS SKIPPED: 1, for want of ngspice, so no circuit was simulated"]


def test_without_a_simulator_a_run_that_allows_no_skip_fails(tmp_path: Path) -> None:
    code, output = run_one_test(tmp_path, programs=(), marker="simulator", CI="true")
    assert code == 1
    assert "SIMULATOR TESTS SKIPPED: 1, for want of ngspice, which fails this run" in output


def test_with_a_simulator_nothing_is_skipped(tmp_path: Path) -> None:
    code, output = run_one_test(tmp_path, programs=("ngspice",), marker="simulator", CI="true")
    assert code == 0
    assert "2 passed" in output
