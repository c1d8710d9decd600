"""Ctrl-C and pipes: what is interrupted ends with 130, in one line, and leaves nothing."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import signal
import subprocess
import sys
import termios
import time
from array import array
from pathlib import Path
from typing import IO

import numpy as np
import soundfile

from tests.cli.running import STAGEFX, begun
from tests.cli.short_music import short_music

RATE_HZ = 44100


def long_music(place: Path, *, seconds: float = 40.0) -> Path:
    noise = np.random.default_rng(0).uniform(-0.5, 0.5, (10 * RATE_HZ, 2))
    with soundfile.SoundFile(place, "w", RATE_HZ, 2, "PCM_16") as file:
        for _ in range(round(seconds / 10.0)):
            file.write(noise)
    return place


def wait_for_output(folder: Path) -> None:
    """Until a file is being written in a folder."""
    for _ in range(600):
        if any(path.suffix == ".part" for path in folder.iterdir()):
            return
        time.sleep(0.02)
    raise AssertionError("nothing was ever written")


def wait_until_read(pipe: IO[bytes]) -> None:
    """Until nothing is left in a pipe, and its reader waits for more."""
    left = array("i", [1])
    while left[0]:
        time.sleep(0.05)
        fcntl.ioctl(pipe, termios.FIONREAD, left)
    time.sleep(0.5)


def test_an_interruption_while_the_music_is_still_coming_leaves_nothing(tmp_path: Path) -> None:
    """Standard input is kept in a file meanwhile; that is gone too."""
    kept = tmp_path / "kept"
    kept.mkdir()
    music = long_music(tmp_path / "in.wav", seconds=10.0).read_bytes()
    with begun(
        *(*STAGEFX, "render", "line-stage", "-", "out.flac"),
        cwd=tmp_path,
        stdin=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, "TMPDIR": str(kept)},
    ) as process:
        assert process.stdin is not None
        process.stdin.write(music[: len(music) // 2])
        process.stdin.flush()
        wait_until_read(process.stdin)
        process.send_signal(signal.SIGINT)
        process.wait(timeout=60.0)
        assert process.stderr is not None
        said = process.stderr.read()
        process.stdin.close()
    assert process.returncode == 130, said
    assert said.strip() == b"stagefx: interrupted"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["in.wav", "kept"]
    assert list(kept.iterdir()) == []


def test_an_interruption_of_a_row_of_programs_leaves_nothing(tmp_path: Path) -> None:
    """Ctrl-C goes to all of them, one of which writes a file; whose reader ends first is silent."""
    long_music(tmp_path / "in.wav", seconds=200.0)
    stagefx = " ".join(STAGEFX)
    line = f"{stagefx} render line-stage in.wav - | {stagefx} render slow-early - out.flac"
    with begun(
        *("bash", "-c", f"{line}; echo ${{PIPESTATUS[@]}}"),
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as process:
        wait_for_output(tmp_path)
        os.killpg(process.pid, signal.SIGINT)
        _, said = process.communicate(timeout=60.0)
    assert 1 <= said.split("\n").count("stagefx: interrupted") <= 2
    assert "Traceback" not in said
    assert [path.name for path in tmp_path.iterdir()] == ["in.wav"]


def test_an_interruption_that_a_callback_swallows_comes_again(tmp_path: Path) -> None:
    """As while kernels are compiled; what is left of the command is not run to its end."""
    script = (
        "import ctypes, signal, time\n"
        "from stagefx_cli import main\n"
        "from stagefx_cli.commands.catalogue import command\n"
        "def callback(): signal.raise_signal(signal.SIGINT)\n"
        "def work(**options):\n"
        "    ctypes.CFUNCTYPE(None)(callback)()\n"
        "    print('goes on', flush=True)\n"
        "    time.sleep(100)\n"
        "    print('finished')\n"
        "command.callback = work\n"
        "main.main()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, "catalogue"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        timeout=60.0,
    )
    assert (done.returncode, done.stdout) == (130, "goes on\n")
    assert done.stderr.strip() == "stagefx: interrupted"


def test_samples_come_through_pipes_as_they_come_through_files(tmp_path: Path) -> None:
    """cat x.wav | stagefx render stage - - | cat > y.wav, and nothing on standard error."""
    short_music(tmp_path / "in.wav", seconds=6.0)
    stagefx = " ".join(STAGEFX)
    line = f"cat in.wav | {stagefx} render slow-early - - | cat > out.wav"
    done = subprocess.run(
        ["bash", "-o", "pipefail", "-c", line],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    assert (done.stdout, done.stderr) == ("", "")
    filed = [*STAGEFX, "render", "slow-early", "in.wav", "same.wav"]
    subprocess.run(filed, cwd=tmp_path, check=True, stdout=subprocess.DEVNULL)
    piped, same = (soundfile.read(tmp_path / name)[0] for name in ("out.wav", "same.wav"))
    assert piped.shape == (6 * RATE_HZ, 2)
    assert np.array_equal(piped, same)


def test_a_terminal_is_told_how_long_it_will_take(tmp_path: Path) -> None:
    """Where the music goes to standard output too."""
    long_music(tmp_path / "in.wav", seconds=60.0)
    ours, theirs = pty.openpty()
    command = [*STAGEFX, "render", "line-stage", "in.wav", "-"]
    with begun(*command, cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=theirs) as process:
        os.close(theirs)
        said = b""
        try:
            while chunk := os.read(ours, 4096):
                said += chunk
        except OSError:  # the other end is closed
            pass
    os.close(ours)
    assert process.returncode == 0
    text = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", said.decode())
    assert "rendering" in text
    assert re.search(r"\b0:00:\d\d\b", text)  # time left
