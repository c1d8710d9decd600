"""Resident memory on two hours of stereo at 96 kHz, made for it and deleted after it."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

import soundfile

from tests.benchmarks.ratio import Ratio
from tests.played import song
from tests.resident import peak_mib, write_again_and_again

RATE_HZ = 96000
HOURS = 2.0
BOUND_MIB = 350.0


def run() -> list[Ratio]:
    """The whole process's peak; needs some 6 GB of disk and several minutes."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        piece = song(31 * RATE_HZ, 2, seed=0, rate_hz=RATE_HZ)
        music = write_again_and_again(folder / "in.wav", piece, RATE_HZ, seconds=3600.0 * HOURS)
        peak = peak_mib("render", "line-stage", music, folder / "out.flac")
        assert soundfile.info(folder / "out.flac").frames == soundfile.info(music).frames
        return [
            Ratio(
                name="two hours at 96 kHz, resident memory",
                peer="the whole process",
                value=peak,
                bound=BOUND_MIB,
                unit="MiB",
                state="cached",
            )
        ]
