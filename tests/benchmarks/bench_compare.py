"""A whole comparison of two files, ear model and all, against the clock.

Four minutes in stereo at 44.1 kHz, 24-bit FLAC, made here: the second is 0.2 dB louder, half a
frame and a bit later, and duller, as behind a first-order low-pass.  What is found is checked
against what was done before anything is timed.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy.signal import lfilter

from stagefx.audition.compare import Comparison
from stagefx.audition.shortcuts import compare_files
from tests.benchmarks.ratio import Ratio, fastest_s
from tests.played import song

Audio = NDArray[np.float64]
SECONDS, RATE_HZ = 240, 44100
LOUDER_DB, POLE, LATER = 0.2, 0.2, 1000


def run() -> list[Ratio]:
    """The whole piece."""
    with tempfile.TemporaryDirectory() as folder:
        first, second = written(Path(folder))
        check(compare_files(first, second))
        whole_s = fastest_s(lambda: compare_files(first, second), repeats=3)
    return [
        Ratio(
            name="compare, two files of four minutes, ear model included",
            peer="real time",
            value=SECONDS / whole_s,
            bound=100.0,
            sense="at least",
        ),
    ]


def written(folder: Path) -> tuple[Path, Path]:
    """Both versions as files."""
    music = 0.5 * song(SECONDS * RATE_HZ, 2, seed=7, rate_hz=RATE_HZ)
    dull = lfilter([1.0 - POLE], [1.0, -POLE], music, axis=0)
    later = np.concatenate([np.zeros((LATER, 2)), 10.0 ** (LOUDER_DB / 20.0) * dull])
    places = folder / "first.flac", folder / "second.flac"
    for place, samples in zip(places, (music, later), strict=True):
        soundfile.write(place, samples, RATE_HZ, subtype="PCM_24")
    return places


def check(found: Comparison) -> None:
    """Level, delay and response are what was done; what remains is rounding to 24 bits."""
    difference = found.difference
    late = difference.alignment.delay_frames - LATER
    assert 0.0 < late < POLE / (1.0 - POLE)  # the low-pass's own delay, at most that at 0 Hz
    at_1k = abs(response(np.array([1000.0])))[0]
    for band in difference.response.bands:
        if band.db is not None and 30.0 < band.hz < 16e3:
            exact = 20.0 * np.log10(abs(response(np.array([band.hz])))[0] / at_1k)
            assert abs(band.db - exact) < 0.02, band.hz
    most_lost_db = 20.0 * np.log10(abs(response(np.array([RATE_HZ / 2.0])))[0])
    assert LOUDER_DB + most_lost_db < difference.loudness.difference_db < LOUDER_DB
    assert difference.remainder_db < -100.0
    assert found.heard.pair.detection_probability is not None


def response(hz: Audio) -> NDArray[np.complex128]:
    """Of the recursion above."""
    return np.asarray((1.0 - POLE) / (1.0 - POLE * np.exp(-2j * np.pi * hz / RATE_HZ)))
