"""A test signal: a marker, passages, and the marker again."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.signals.passages import Passage, Ramp, Silence, Sweep, Tones, faded

Array = NDArray[np.float64]

LEAD_S = 0.5
"""Some players swallow the first moments of a file."""
MARKER_S = 0.25
GAP_S = 0.5
TAIL_S = 0.5
TELLING_S = 0.03
"""The n-th signal's last marker comes n times this later, so that no two are as far apart."""
MARKER_LEVEL_DB = -12.0
_MARKER_LOW_HZ = 300.0
_MARKER_HIGH_HZ = 10e3
_MARKER_HIGHEST_SHARE = 0.4
_CHUNK_FRAMES = 1 << 16


@dataclass(frozen=True)
class TestSignal:
    """One file to play through a stage."""

    __test__ = False  # its name looks like a test's

    name: str
    purpose: str
    rate_hz: int
    passages: tuple[Passage, ...]
    note: str = ""

    @property
    def markers_s(self) -> tuple[float, float]:
        """When the two markers begin."""
        last = self.passages[-1]
        own_s = TELLING_S * int(self.name.partition("-")[0])
        return LEAD_S, last.start_s + last.duration_s + GAP_S + own_s

    @property
    def frames(self) -> int:
        """Length in frames."""
        return math.ceil((self.markers_s[1] + MARKER_S + TAIL_S) * self.rate_hz)

    def tones(self) -> tuple[Tones, ...]:
        """Its passages of steady tones."""
        return tuple(one for one in self.passages if isinstance(one, Tones))

    def sweeps(self) -> tuple[Sweep, ...]:
        """Its swept passages."""
        return tuple(one for one in self.passages if isinstance(one, Sweep))

    def ramps(self) -> tuple[Ramp, ...]:
        """Its growing tones."""
        return tuple(one for one in self.passages if isinstance(one, Ramp))

    def silences(self) -> tuple[Silence, ...]:
        """Its silent passages."""
        return tuple(one for one in self.passages if isinstance(one, Silence))

    def wave(self, time_s: Array) -> Array:
        """What both channels play at any times."""
        played = np.zeros((len(time_s), 2))
        for passage in self.passages:
            begin, end = np.searchsorted(
                time_s, [passage.start_s, passage.start_s + passage.duration_s]
            )
            for first in range(int(begin), int(end), _CHUNK_FRAMES):
                chunk = slice(first, min(first + _CHUNK_FRAMES, int(end)))
                wave = passage.wave(time_s[chunk] - passage.start_s)
                played[chunk] += wave[:, None] * np.array(passage.gains)
        for start_s in self.markers_s:
            begin, end = np.searchsorted(time_s, [start_s, start_s + MARKER_S])
            chunk = slice(int(begin), int(end))
            played[chunk] += marker_wave(time_s[chunk] - start_s, self.rate_hz)[:, None]
        return played

    def samples(self) -> Array:
        """The whole signal."""
        return self.wave(np.arange(self.frames) / self.rate_hz)


def marker_wave(time_s: Array, rate_hz: int) -> Array:
    """The marker: a rising chirp, found by its shape however loud, late or upside down it comes."""
    high_hz = min(_MARKER_HIGH_HZ, _MARKER_HIGHEST_SHARE * rate_hz)
    rise = (high_hz - _MARKER_LOW_HZ) / MARKER_S
    turns = time_s * (_MARKER_LOW_HZ + 0.5 * rise * time_s)
    peak = 10.0 ** (MARKER_LEVEL_DB / 20.0)
    wave = peak * np.sin(2.0 * np.pi * turns) * faded(time_s, MARKER_S, 0.04, 0.04)
    return np.asarray(wave, dtype=np.float64)
