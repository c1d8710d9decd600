"""How soon the command line answers: help, the first render ever, and the first block."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import soundfile

from tests.benchmarks.ratio import Ratio, State, fastest_s
from tests.played import song

STAGEFX = (sys.executable, "-m", "stagefx_cli")
RATE_HZ = 44100
FIRST_BYTES = 4096
"""More than a header: some of the first block has come."""


def run() -> list[Ratio]:
    """Wall-clock times of processes of their own; the kernels' cache is emptied for one."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        music = folder / "in.wav"
        soundfile.write(music, song(5 * RATE_HZ, 2, seed=0, rate_hz=RATE_HZ), RATE_HZ)
        assert "render" in subprocess.check_output([*STAGEFX, "--help"], text=True)
        cold_s = min(first_render_s(music, folder / f"cache-{n}") for n in range(2))
        cached_s = first_render_s(music, folder / "cache-0")
        return [
            seconds("stagefx --help", help_s(), 0.25),
            seconds("first render, 5 s of music", cold_s, 15.0, state="cold"),
            seconds("first render, 5 s of music", cached_s, 3.0),
            seconds("start to first block", first_block_s(music), 1.0),
        ]


def seconds(name: str, value: float, bound: float, *, state: State = "cached") -> Ratio:
    return Ratio(name=name, peer="wall clock", value=value, bound=bound, unit="s", state=state)


def help_s() -> float:
    command = [*STAGEFX, "--help"]
    return fastest_s(lambda: subprocess.run(command, check=True, stdout=subprocess.DEVNULL))


def first_render_s(music: Path, cache: Path) -> float:
    """A render with its kernels' cache in a folder of its own."""
    out = music.with_name("out.wav")
    command = [*STAGEFX, "render", "slow-early", str(music), str(out), "--force"]
    environment = {**os.environ, "NUMBA_CACHE_DIR": str(cache)}
    begin = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=environment)
    taken = time.perf_counter() - begin
    assert soundfile.info(out).frames == soundfile.info(music).frames
    return taken


def first_block_s(music: Path) -> float:
    """From starting the process to the first rendered samples on its standard output."""

    def start() -> float:
        begin = time.perf_counter()
        command = [*STAGEFX, "render", "line-stage", str(music), "-"]
        with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
            assert process.stdout is not None
            assert len(process.stdout.read(FIRST_BYTES)) == FIRST_BYTES
            taken = time.perf_counter() - begin
            process.stdout.read()
        assert process.returncode == 0
        return taken

    return min(start() for _ in range(5))
