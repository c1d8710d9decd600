"""`stagefx --version --json`: what a bug report needs."""

from __future__ import annotations

import os
import platform
from importlib.metadata import version
from pathlib import Path

import pytest
import soundfile

from tests.cli.running import complaint, loaded_modules, one_object, run_here


def test_the_versions_are_those_that_each_library_says_of_itself() -> None:
    import numba
    import numpy as np

    done = run_here("--version", "--json")
    assert done.returncode == 0
    found = one_object(done.stdout)
    assert found["stagefx"] == version("stagefx")
    assert found["python"] == platform.python_version()
    assert found["libraries"]["numpy"] == np.__version__
    assert found["libraries"]["numba"] == numba.__version__
    assert found["libraries"]["soundfile"] == soundfile.__version__
    assert found["libsndfile"] == soundfile.__libsndfile_version__
    assert (found["machine"], found["system"]) == (platform.machine(), platform.system())
    assert found["cores"] == os.cpu_count()
    assert str(Path.home()) not in done.stdout  # nothing that is nobody's business
    assert platform.node() not in [value for value in found.values() if isinstance(value, str)]


def test_order_does_not_matter_and_a_command_is_not_run() -> None:
    assert run_here("--json", "--version").stdout == run_here("--version", "--json").stdout
    assert (
        run_here("--version", "figures", "line-stage").stdout == f"stagefx {version('stagefx')}\n"
    )


def test_it_loads_none_of_what_it_tells_of_but_the_reader_of_audio(tmp_path: Path) -> None:
    """So that it works where one of them does not."""
    heavy = {"numba", "scipy", "matplotlib", "librosa", "soxr", "pydantic"}
    assert not heavy & loaded_modules("--version", "--json", cwd=tmp_path)


def test_what_is_not_installed_is_null(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("stagefx_cli.versions.LIBRARIES", ("numpy", "no-such-library"))
    monkeypatch.setitem(__import__("sys").modules, "soundfile", None)
    found = one_object(run_here("--version", "--json").stdout)
    assert found["libraries"]["no-such-library"] is None
    assert found["libsndfile"] is None


@pytest.mark.parametrize("arguments", [["--json"], ["--json", "figures", "line-stage"]])
def test_json_alone_is_refused(arguments: list[str]) -> None:
    assert "--json stands after the command, or beside --version" in complaint(run_here(*arguments))
