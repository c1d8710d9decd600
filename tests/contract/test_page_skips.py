"""A page test that cannot run is skipped loudly, or fails the run where skips are not allowed."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]


def run_one_page_test(
    folder: Path, *, programs: tuple[str, ...], **setting: str
) -> tuple[int, str]:
    """Exit code and output of a run with one page test, where only some programs are there."""
    (folder / "conftest.py").write_text((TESTS / "conftest.py").read_text(encoding="utf-8"))
    (folder / "pytest.ini").write_text("[pytest]\nmarkers =\n  page: p\n  kernel: k\n")
    (folder / "test_one.py").write_text(
        "import pytest\n\n@pytest.mark.page\ndef test_page(): pass\n\ndef test_other(): pass\n"
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
    code, output = run_one_page_test(tmp_path, programs=("chromium", "node", "tsc"), CI="true")
    assert code == 0
    assert "2 passed" in output
    assert "SKIPPED" not in output


def test_without_a_browser_one_loud_line_says_so(tmp_path: Path) -> None:
    code, output = run_one_page_test(tmp_path, programs=("node", "tsc"))
    assert code == 0
    loud = [line for line in output.splitlines() if line.startswith("PAGE TESTS SKIPPED")]
    assert loud == ["PAGE TESTS SKIPPED: 1, for want of chromium, so no page was tested"]


@pytest.mark.parametrize("setting", [{"CI": "true"}, {"STAGEFX_NO_SKIP": "1"}])
def test_where_skips_are_not_allowed_the_run_fails(tmp_path: Path, setting: dict[str, str]) -> None:
    code, output = run_one_page_test(tmp_path, programs=(), **setting)
    assert code == 1
    assert "PAGE TESTS SKIPPED: 1, for want of chromium and node and tsc, which fails" in output
