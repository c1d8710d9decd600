"""Noise and hum in the silences of the music, for both versions."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.difference.decomposition import Difference
from stagefx.difference.hum import HumLine, find_hum, without_lines
from stagefx.difference.nulls import decibels
from stagefx.difference.pairs import side_by_side
from stagefx.dsp.bands import band_edges_hz, third_octaves_hz
from stagefx.dsp.envelope import step_frames
from stagefx.dsp.weighting import a_weighting_db
from stagefx.io.recording import Recording

Array = NDArray[np.float64]

QUIET_DB = -50.0
"""Re the whole music: under it lies a recording's own noise, and hardly any music."""
TAIL_S = 0.15
"""Of a silence its beginning is left out: what rang before it, and filters that settle."""
SHORTEST_S = 0.2
_SEGMENT_S = 0.18
_STEADY_TIMES = 4.0
"""A segment of a silence with more than that times the median's power holds a click, not noise."""
_STEADY_DB = 3.0
"""A silence that keeps falling by as much is a tail."""
_SINE = 0.5
_LOWEST_HZ, _HIGHEST_HZ = 20.0, 20000.0


@dataclass(frozen=True)
class NoiseFound:
    """Noise of one version in the silences."""

    level_dbfs: float
    a_weighted_dbfs: float
    hz: tuple[float, ...]
    bands_dbfs: tuple[float, ...]
    hum: tuple[HumLine, ...]
    mains_hz: int | None

    def as_json(self) -> dict[str, Any]:
        """The noise as plain values."""
        return {
            "level_dbfs": _plain(self.level_dbfs),
            "a_weighted_dbfs": _plain(self.a_weighted_dbfs),
            "bands": [
                {"hz": hz, "dbfs": _plain(level)}
                for hz, level in zip(self.hz, self.bands_dbfs, strict=True)
            ],
            "hum": [dict(vars(line)) for line in self.hum],
            "mains_hz": self.mains_hz,
        }


def _plain(value: float) -> float | None:
    return value if math.isfinite(value) else None


@dataclass(frozen=True)
class GapNoise:
    """Noise of both versions in the silences of the quieter."""

    first: NoiseFound | None
    second: NoiseFound | None
    seconds: float
    reason: str = ""

    def as_json(self) -> dict[str, Any]:
        """The noise as plain values."""
        if self.first is None or self.second is None:
            return {"value": None, "reason": self.reason}
        return {
            "seconds": self.seconds,
            "first": self.first.as_json(),
            "second": self.second.as_json(),
        }


def gap_noise(first: Recording, second: Recording, difference: Difference) -> GapNoise:
    """Listen to both versions where the quieter is silent.

    A gap is 0.35 s or more in which the quieter version lies 50 dB below the whole music; its first
    0.15 s are left out, and a gap in which the louder version keeps falling by 3 dB is the music's
    tail.
    """
    rate_hz = first.format.rate_hz
    sums = _Sums(rate_hz, first.format.channels)
    seconds = 0.0
    for gap in _gaps(first, second, difference):
        if sums.add(gap):
            seconds += gap.shape[2] / rate_hz
    if not sums.segments:
        return GapNoise(
            None, None, 0.0, "the music has no silence of a third of a second in which to listen"
        )
    one, other = sums.found()
    return GapNoise(one, other, seconds)


def _gaps(first: Recording, second: Recording, difference: Difference) -> Iterator[Array]:
    """Silences [2, channels, frames], tails left out, each cut after ten seconds."""
    for start, stop in _silences(difference, first.format.rate_hz):
        pairs = side_by_side(first, second, difference.alignment, start=start, stop=stop)
        yield np.concatenate([np.stack([pair.first.T, pair.second.T]) for pair in pairs], axis=2)


def _silences(difference: Difference, rate_hz: int) -> Iterator[tuple[int, int]]:
    """From which frame to which there is silence."""
    step = step_frames(rate_hz)
    limit = _SINE * 10.0 ** ((difference.first_dbfs + QUIET_DB) / 10.0)
    tail, shortest, longest = (round(s * rate_hz) for s in (TAIL_S, SHORTEST_S, 10.0))
    quiet = np.concatenate([[False], difference.step_powers <= limit, [False]])
    changes = np.flatnonzero(quiet[1:] != quiet[:-1])
    for begin, end in changes.reshape(-1, 2).tolist():
        left_out = -(-tail // step)
        for here in range(begin + left_out, end, -(-longest // step)):
            there = min(here + -(-longest // step), end)
            if (there - here) * step >= shortest:
                yield difference.start + here * step, difference.start + there * step


class _Sums:
    """Power spectra of both versions over the silences."""

    def __init__(self, rate_hz: int, channels: int) -> None:
        self._rate_hz = rate_hz
        self._frames = int(2 ** math.floor(math.log2(_SEGMENT_S * rate_hz)))
        self._window = np.sin(np.pi * np.arange(self._frames) / self._frames) ** 2
        self._power = np.zeros((2, self._frames // 2 + 1))
        self._channels = channels
        self.segments = 0

    def add(self, gap: Array) -> bool:
        """Add a silence, unless it is a tail; say which."""
        half = gap.shape[2] // 2
        louder = int(np.argmax(np.var(gap, axis=(1, 2))))
        before, after = np.var(gap[louder, :, :half]), np.var(gap[louder, :, half:])
        if gap.shape[2] < self._frames or before > after * 10.0 ** (_STEADY_DB / 10.0):
            return False
        begins = range(0, gap.shape[2] - self._frames + 1, self._frames // 2)
        spectra = [
            np.fft.rfft(gap[:, :, begin : begin + self._frames] * self._window, axis=2)
            for begin in begins
        ]
        powers = np.stack([(np.square(x.real) + np.square(x.imag)).mean(axis=1) for x in spectra])
        totals = powers.sum(axis=2)
        steady = (totals <= _STEADY_TIMES * np.median(totals, axis=0)).all(axis=1)
        self._power += powers[steady].sum(axis=0)
        self.segments += int(steady.sum())
        return bool(steady.any())

    def found(self) -> tuple[NoiseFound, NoiseFound]:
        one, other = (self._noise(power) for power in self._power)
        return one, other

    def _noise(self, power: Array) -> NoiseFound:
        hz = np.asarray(np.fft.rfftfreq(self._frames, 1.0 / self._rate_hz), np.float64)
        mean_square = power * 2.0 / (self._frames * np.square(self._window).sum() * self.segments)
        heard = (hz >= _LOWEST_HZ) & (hz <= _HIGHEST_HZ)
        with np.errstate(divide="ignore"):
            ear = 10.0 ** (a_weighting_db(hz) / 10.0)
        middles = third_octaves_hz().tolist()
        hum, mains_hz = find_hum(hz, mean_square)
        noise = without_lines(hz, mean_square, hum)
        return NoiseFound(
            level_dbfs=decibels(float(mean_square[heard].sum()), _SINE),
            a_weighted_dbfs=decibels(float((mean_square * ear)[heard].sum()), _SINE),
            hz=tuple(middles),
            bands_dbfs=tuple(decibels(_band(hz, noise, at), _SINE) for at in middles),
            hum=hum,
            mains_hz=mains_hz,
        )


def _band(hz: Array, power: Array, middle_hz: float) -> float:
    """Power in a third octave; of lines at its edges the share that lies in it."""
    low, high = band_edges_hz(middle_hz)
    half = hz[1] / 2.0
    share = np.clip(np.minimum(hz + half, high) - np.maximum(hz - half, low), 0.0, None)
    return float((share / hz[1]) @ power)
