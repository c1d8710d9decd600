"""What holds for every command: help, errors, exit codes, and what is loaded."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from stagefx_cli.main import COMMANDS, program
from tests.cli.running import STAGEFX, begun, complaint, loaded_modules, run

HEAVY = {"numba", "scipy", "matplotlib", "librosa"}
NEEDLESS_FOR_HELP = HEAVY | {"numpy", "pydantic", "rich", "soundfile", "soxr", "tomlkit"}


def test_help_lists_every_command() -> None:
    done = CliRunner().invoke(program, ["--help"], prog_name="stagefx")
    assert done.exit_code == 0
    for name in COMMANDS:
        assert f"\n  {name} " in done.output


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_that_says_what_it_does(name: str) -> None:
    done = CliRunner().invoke(program, [name, "--help"], prog_name="stagefx")
    assert done.exit_code == 0
    assert done.output.startswith(f"Usage: stagefx {name} ")
    assert max(map(len, done.output.splitlines())) <= 80


def test_the_version_is_the_package_s() -> None:
    from importlib.metadata import version

    assert run("--version").stdout == f"stagefx {version('stagefx')}\n"


def test_without_a_command_there_is_help_and_exit_code_2() -> None:
    done = run()
    assert done.returncode == 2
    assert "Commands:" in done.stderr


@pytest.mark.parametrize("arguments", [["--help"], ["figures", "--help"], ["render", "--help"]])
def test_help_loads_nothing_heavy(arguments: list[str], tmp_path: Path) -> None:
    assert not NEEDLESS_FOR_HELP & loaded_modules(*arguments, cwd=tmp_path)


@pytest.mark.parametrize(
    "arguments",
    [
        ["catalogue"],
        ["figures", "line-stage"],
        ["figures", "no-such-stage", "--plot", "stage.png"],
        ["figures", "line-stage", "--plot", "stage.bmp"],
        ["render", "no-such-stage", "music.wav", "out.wav"],
        ["compare", "no-such-stage", "line-stage", "--music", "music.wav"],
    ],
)
def test_nothing_heavy_is_loaded_before_it_is_needed(arguments: list[str], tmp_path: Path) -> None:
    assert not HEAVY & loaded_modules(*arguments, cwd=tmp_path)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["catalog"], "did you mean 'catalogue'?"),
        (["figures"], "missing argument 'STAGE'"),
        (["figures", "line-stage", "--jsom"], "--jsom"),
        (["figures", "line-stage", "--seed", "soon"], "'soon' is not a valid integer"),
        (["figures", "line-stag"], "did you mean 'line-stage'?"),
        (["figures", "no.toml"], "no.toml"),
        (["catalogue", "fast bipola"], "did you mean 'fast bipolar'?"),
    ],
)
def test_a_request_that_cannot_be_used_says_why_in_two_lines(
    arguments: list[str], said: str, tmp_path: Path
) -> None:
    assert said in complaint(run(*arguments, cwd=tmp_path))
    assert list(tmp_path.iterdir()) == []


def test_a_file_s_text_cannot_steer_the_terminal(tmp_path: Path) -> None:
    place = tmp_path / "stage.toml"
    place.write_text('name = "a\\u001b[2Jb"\n[source]\nlevel = "2 V rms"\n', encoding="utf-8")
    done = run("figures", place)
    assert done.returncode == 0
    assert "\x1b" not in done.stdout


def test_output_that_nobody_reads_ends_quietly() -> None:
    command = [*STAGEFX, "catalogue", "--schema"]
    with begun(*command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        said = process.stderr.read()
        process.wait()
    assert said == b""
    assert process.returncode == 141


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full")
def test_a_full_disk_behind_standard_output_is_said() -> None:
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        done = subprocess.run(
            [*STAGEFX, "catalogue"], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.returncode == 2
    assert done.stderr == "stagefx: no space left on device\n"


@pytest.mark.parametrize("told", [signal.SIGINT, signal.SIGTERM])
def test_an_interrupted_command_says_so_and_leaves_nothing(
    told: signal.Signals, tmp_path: Path
) -> None:
    script = (
        "import click, stagefx_cli.lazy, stagefx_cli.main as m, time\n"
        "@click.command()\n"
        "def slow():\n"
        "    print('working', flush=True)\n"
        "    time.sleep(60)\n"
        "m.program.add_command(slow, 'slow')\n"
        "m.program.command_names += ('slow',)\n"
        "get = m.program.get_command\n"
        "m.program.get_command = lambda c, n: slow if n == 'slow' else get(c, n)\n"
        "m.main()\n"
    )
    with begun(
        *(sys.executable, "-c", script, "slow"),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=tmp_path,
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.readline() == "working\n"
        time.sleep(0.05)
        process.send_signal(told)
        said = process.stderr.read()
        process.wait(timeout=30)
    assert process.returncode == 130
    assert said.strip() == "stagefx: interrupted"
    assert list(tmp_path.iterdir()) == []
