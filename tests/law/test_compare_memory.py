"""A comparison's memory does not grow with the music's duration."""

from __future__ import annotations

import tracemalloc
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.audition.shortcuts import compare_recordings
from stagefx.io.files import AudioFormat
from stagefx.io.recording import HeldAudio

RATE_HZ = 8000
PERIOD = np.random.default_rng(1).standard_normal((97 * RATE_HZ, 1)) * 0.1


@dataclass(frozen=True)
class Endless:
    """Noise that comes again every 97 s, made as it is read."""

    seconds: int
    gain: float
    place: str = "endless"

    @property
    def format(self) -> AudioFormat:
        return AudioFormat(RATE_HZ, 1, self.seconds * RATE_HZ, bits=None, kind="made")

    def read(self, start: int, stop: int) -> NDArray[np.float64]:
        return self.gain * PERIOD[np.arange(start, stop) % len(PERIOD)]


def peak_bytes(seconds: int) -> int:
    tracemalloc.start()
    compare_recordings(Endless(seconds, 1.0), Endless(seconds, 0.9))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return peak


@pytest.mark.slow
def test_memory_does_not_grow_with_duration() -> None:
    compare_recordings(HeldAudio(PERIOD, RATE_HZ), HeldAudio(PERIOD, RATE_HZ))  # what is kept once
    short, long = peak_bytes(150), peak_bytes(600)
    samples = 450 * RATE_HZ * 8
    assert long - short < 0.01 * samples
