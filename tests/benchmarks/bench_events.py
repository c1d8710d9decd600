"""The meter of events against the ear model that listens beside it, in processor time.

Stereo, 44.1 kHz.  Checked against the plain twin before anything is timed.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from stagefx.hearing.ear.beside import EarBeside
from stagefx.hearing.events.account import EventAccount
from stagefx.hearing.events.meter import EventMeter
from tests.benchmarks.bench_ear import versions
from tests.benchmarks.ratio import Ratio
from tests.oracle.event_twin import EventTwin, worst_db

Audio = NDArray[np.float64]
SECONDS, RATE_HZ, BLOCK, SPL_DB = 20, 44100, 1 << 16, 100.0


def run() -> list[Ratio]:
    """Where nothing is near masking, and where everything is, as in coded music."""
    first, _ = versions(SECONDS * RATE_HZ, RATE_HZ)
    chance = np.random.default_rng(5).standard_normal(first.shape)
    check(first[:RATE_HZ], first[:RATE_HZ] + 0.1 * np.abs(first[:RATE_HZ]) * chance[:RATE_HZ])
    found = []
    for name, left, bound in (
        ("events, dither of 24 bits", 2.0**-24 * chance, 0.15),
        ("events, noise close to masking", 0.1 * first * chance, 1.0),
    ):
        second = first + left
        meters = [
            lambda second=second, left=left: listen(first, second, left),
            lambda second=second, left=left: hear(first, second, left),
        ]
        ours, ear = processor_s(meters)
        found.append(
            Ratio(name=name, peer="ear model, processor time", value=ours / ear, bound=bound)
        )
    return found


def listen(first: Audio, second: Audio, left: Audio) -> EventAccount:
    """Events of a whole piece, in blocks as a file gives them."""
    meter = EventMeter(RATE_HZ, 2, SPL_DB)
    for start in range(0, len(first), BLOCK):
        meter.add(*(one[start : start + BLOCK] for one in (first, second, left)))
    return meter.account()


def hear(first: Audio, second: Audio, left: Audio) -> None:
    """The ear model's way with the same."""
    ear = EarBeside(RATE_HZ, 2, SPL_DB)
    for start in range(0, len(first), BLOCK):
        ear.add(*(one[start : start + BLOCK] for one in (first, second, left)))
    ear.account()


def processor_s(calls: list[Callable[[], object]], rounds: int = 5) -> list[float]:
    """The least that each took of all processors, called in turn."""
    taken = np.full((rounds, len(calls)), np.inf)
    for row in taken:
        for place, call in enumerate(calls):
            begin = time.process_time()
            call()
            row[place] = time.process_time() - begin
    return [float(least) for least in taken.min(axis=0)]


def check(first: Audio, second: Audio) -> None:
    """A second of it is judged as the plain twin judges it."""
    twin = EventTwin(RATE_HZ, SPL_DB)
    pairs = zip(first.T, second.T, strict=True)
    excess = np.max([twin.channel(one, other, other - one) for one, other in pairs], axis=0)
    found = listen(first, second, second - first).worst_db
    assert found is not None
    assert abs(found - worst_db(excess)) < 0.5
