"""What an evidence page plays: the passage in both versions, and their difference turned up."""

from __future__ import annotations

import math
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.io.recording import ForwardWindow, Recording
from stagefx.io.writing import AudioWriter
from stagefx.units import decibels

Array = NDArray[np.float64]

TURNED_UP_DB = 40.0
MOST_DIFFERENCE_DBFS = -20.0
"""The difference is never louder than this at its peak, so that nobody is startled."""
HIGHEST = 0.999
"""Peak of what is played; both versions are turned down alike where one is over it."""


@dataclass(frozen=True)
class Excerpts:
    """A passage as 16-bit FLAC files."""

    rate_hz: int
    channels: int
    seconds: float
    baseline: bytes
    change: bytes
    difference: bytes
    turned_up_db: float
    turned_down_db: float
    rms_dbfs: tuple[float, float]

    def as_json(self) -> dict[str, Any]:
        """What is played, without the audio."""
        level = [{"value": None, "reason": "silent"} if math.isinf(db) else db
                 for db in self.rms_dbfs]  # fmt: skip
        return {
            "rate_hz": self.rate_hz,
            "channels": self.channels,
            "seconds": self.seconds,
            "turned_up_db": self.turned_up_db,
            "turned_down_db": self.turned_down_db,
            "rms_dbfs": level,
        }


def cut(
    first: Recording,
    second: Recording,
    difference: Recording,
    passage: tuple[float, float],
    *,
    difference_start: int = 0,
    seed: int = 0,
) -> Excerpts:
    """Cut a passage out of both versions and of their difference."""
    made = first.format
    start, stop = (round(second_ * made.rate_hz) for second_ in passage)
    one, other = _stretch(first, start, stop), _stretch(second, start, stop)
    peak = max(_peak(one), _peak(other))
    factor = min(1.0, HIGHEST / peak) if peak else 1.0
    rest = _stretch(difference, start - difference_start, stop - difference_start)
    loudest = _peak(rest)
    up = (
        min(10.0 ** (TURNED_UP_DB / 20.0), 10.0 ** (MOST_DIFFERENCE_DBFS / 20.0) / loudest)
        if (loudest)
        else 1.0
    )
    flac = [
        _flac(samples, made.rate_hz, seed=seed, stream=stream)
        for stream, samples in enumerate((factor * one, factor * other, up * rest))
    ]
    return Excerpts(
        made.rate_hz, made.channels, (stop - start) / made.rate_hz, flac[0], flac[1],
        flac[2] if loudest else b"", decibels(up) if loudest else 0.0, abs(decibels(factor)),
        (_rms_dbfs(factor * one), _rms_dbfs(factor * other)),
    )  # fmt: skip


def _stretch(recording: Recording, start: int, stop: int) -> Array:
    """A stretch of a recording, silence outside it."""
    return ForwardWindow(recording).stretch(start, stop)


def _peak(samples: Array) -> float:
    return float(np.abs(samples).max(initial=0.0))


def _rms_dbfs(samples: Array) -> float:
    power = float(np.mean(samples**2)) if samples.size else 0.0
    return 10.0 * math.log10(2.0 * power) if power > 0.0 else -math.inf


def _flac(samples: Array, rate_hz: int, *, seed: int, stream: int) -> bytes:
    with tempfile.TemporaryDirectory(prefix="stagefx-") as folder:
        place = Path(folder, "passage.flac")
        with AudioWriter(
            place, rate_hz=rate_hz, channels=samples.shape[1], bits="16", seed=seed, stream=stream
        ) as writer:
            writer.write(samples)
        return place.read_bytes()
