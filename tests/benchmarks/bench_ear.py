"""The ear model against the bare Fourier transforms that it needs, and against the clock.

Stereo, two versions, made here; checked against the literal twin before anything is timed.  Every
peer runs in this process, on the same frames, in turn with the ear.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.hearing.ear.detection import EarPair
from stagefx.hearing.ear.frames import BATCH_FRAMES
from stagefx.hearing.ear.scale import FRAME, HOP, RATE_HZ
from tests.benchmarks.bench_render import in_turn
from tests.benchmarks.ratio import Ratio, fastest_s
from tests.oracle import ear_twin
from tests.played import song

Audio = NDArray[np.float64]
SECONDS = 20
BLOCK = 1 << 16
SPL_DB = 100.0


def run() -> list[Ratio]:
    """On two threads against the transforms alone, on one; and at 44.1 kHz against the clock."""
    first, second = versions(SECONDS * RATE_HZ, RATE_HZ)
    check(first, second)
    windowed = frames_of(np.hstack([first, second]))
    bare = Ratio(
        name="ear model, two versions in stereo, two threads",
        peer="its bare FFTs, one thread",
        value=in_turn(
            lambda: listen(first, second, RATE_HZ), lambda: transforms(windowed), rounds=9
        ),
        bound=3.0,
    )
    slower = versions(SECONDS * 44100, 44100)
    taken_s = fastest_s(lambda: listen(*slower, 44100))
    speed = Ratio(
        name="ear model at 44.1 kHz, resampling included",
        peer="real time",
        value=SECONDS / taken_s,
        bound=100.0,
        sense="at least",
    )
    return [bare, speed]


def versions(frames: int, rate_hz: int) -> tuple[Audio, Audio]:
    """Something like music, and the same with a tenth of a decibel and some hiss added."""
    first = 0.5 * song(frames, 2, seed=3, rate_hz=rate_hz)
    hiss = np.random.default_rng(4).standard_normal(first.shape)
    return first, first * 10.0 ** (0.1 / 20.0) + 1e-5 * hiss


def listen(first: Audio, second: Audio, rate_hz: int) -> float | None:
    """The standard's probability for a whole piece, in blocks as a file gives them."""
    pair = EarPair(rate_hz, 2, SPL_DB)
    for start in range(0, len(first), BLOCK):
        pair.add(first[start : start + BLOCK], second[start : start + BLOCK])
    return pair.account().standard_probability


def check(first: Audio, second: Audio) -> None:
    """The loudest second of the piece is judged as the literal twin judges it."""
    start = int(np.abs(first).max(axis=1).argmax() // HOP * HOP)
    start = min(start, len(first) - RATE_HZ)
    one, other = first[start : start + RATE_HZ], second[start : start + RATE_HZ]
    found, expected = listen(one, other, RATE_HZ), ear_twin.detection(one, other, SPL_DB)
    assert found is not None
    assert 1e-6 < expected < 1.0
    assert abs(found / expected - 1.0) < 1e-9


def frames_of(rows: Audio) -> list[Audio]:
    """All frames of all channels, ready for the transform, a batch at a time."""
    batches = []
    for row in rows.T:
        frames = np.lib.stride_tricks.sliding_window_view(row, FRAME)[::HOP] * np.hanning(FRAME)
        batches += [
            frames[start : start + BATCH_FRAMES] for start in range(0, len(frames), BATCH_FRAMES)
        ]
    return batches


def transforms(batches: list[Audio]) -> None:
    """Nothing but the transforms."""
    spectra = np.empty((BATCH_FRAMES, FRAME // 2 + 1), dtype=np.complex128)
    for batch in batches:
        np.fft.rfft(batch, out=spectra[: len(batch)])
