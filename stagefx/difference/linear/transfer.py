"""The linear filter between two versions of a piece, as a value that can be applied and asked.

``H(f) = 1 + Σ h[j] e^(-iω(j - 128)/rate) + Σ c[k] L[k](f)``: a short impulse response to either
side of the present for all that is quick, and low-passes of first order at half-octave steps for
what remembers long, a coupling capacitor above all.  Its thousand numbers are found from hundreds
of times as many frames of music, so that hardly any noise gets into them; where there is no music
it stays smooth.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from stagefx.io.recording import Recording
from stagefx.kernels.filters.low_passes import add_low_passes, low_passes, pass_by

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

AHEAD_FRAMES, BEHIND_FRAMES = 128, 1024
"""How far the impulse response looks to either side of the present."""
SPAN_FRAMES = AHEAD_FRAMES + BEHIND_FRAMES
LOWEST_CORNER_HZ = 0.002
"""Where the first has a coupling capacitor and the second has none, memory is without end."""
HIGHEST_CORNER_SHARE = 0.0068
"""Of the rate: a low-pass there is over within the impulse response."""
CORNERS_PER_OCTAVE = 2.0
PASSED_FRAMES = 32
"""So many frames at a time are worked on by low-passes."""
LEAD_IN_S = 4.0
"""How much of what was played before is heard by the filter's memory."""
_TRANSFORM = 1 << 14
"""Short enough to stay in a processor's cache."""
_FRESH = _TRANSFORM - SPAN_FRAMES


def corners_hz(rate_hz: int) -> Array:
    """Corners of the low-passes that stand for a slow filter's memory."""
    octaves = np.log2(HIGHEST_CORNER_SHARE * rate_hz / LOWEST_CORNER_HZ)
    count = max(int(CORNERS_PER_OCTAVE * octaves) + 1, 2)
    return np.asarray(LOWEST_CORNER_HZ * 2.0 ** (np.arange(count) / CORNERS_PER_OCTAVE))


def lead_in(first: Recording, start: int) -> Array:
    """What was played before a stretch, as far as a filter remembers it."""
    made = first.format
    begin = max(start - round(LEAD_IN_S * made.rate_hz), 0)
    before = first.read(begin, start) if start > begin else np.zeros((0, made.channels))
    return np.pad(before, ((max(SPAN_FRAMES - len(before), 0), 0), (0, 0)))


@dataclass(frozen=True)
class TransferModel:
    """What a linear filter makes of the first version to become the second, less the first."""

    rate_hz: int
    gain: float
    taps: Array
    low_passes: Array
    offset: Array
    seen_share: float = 1.0

    def response(self, hz: Array) -> Complex:
        """The filter's response at some frequencies."""
        angle = -2.0 * np.pi * np.asarray(hz) / self.rate_hz
        turn = np.exp(1j * angle)
        late = np.arange(-AHEAD_FRAMES, BEHIND_FRAMES + 1)
        angles = late[:, None] * angle
        quick = self.taps @ np.cos(angles) + 1j * (self.taps @ np.sin(angles))
        share = shares_of(self.rate_hz)[: self.low_passes.shape[1], None]
        slow = self.low_passes @ (share / (1.0 - (1.0 - share) * turn[None, :]))
        return np.asarray(1.0 + quick + slow * turn**-AHEAD_FRAMES)


@lru_cache(maxsize=4)
def shares_of(rate_hz: int) -> Array:
    """How much of a new sample each low-pass lets in."""
    corners = corners_hz(rate_hz)
    shares = np.zeros(-(-len(corners) // 8) * 8)
    shares[: len(corners)] = -np.expm1(-2.0 * np.pi * corners / rate_hz)
    shares.setflags(write=False)
    return shares


@lru_cache(maxsize=4)
def _passing_by(rate_hz: int) -> Array:
    """What `pass_by` multiplies samples with, and in its last row the low-passes."""
    shares = shares_of(rate_hz)
    ages = np.arange(PASSED_FRAMES - 1, -1, -1)[:, None]
    kept = np.log1p(-shares)
    table = np.concatenate([shares * np.exp(ages * kept), np.exp(PASSED_FRAMES * kept)[None, :]])
    table.setflags(write=False)
    return np.asarray(table)


class LongMemory:
    """Low-passes that one channel of a piece is passed through, stretch by stretch."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self.state = np.zeros(len(shares_of(rate_hz)))

    def pass_by(self, samples: Array) -> None:
        """Hear a stretch of which nothing is wanted but that it be remembered."""
        samples = np.ascontiguousarray(samples)
        whole = len(samples) // PASSED_FRAMES * PASSED_FRAMES
        pass_by(samples[:whole], _passing_by(self._rate_hz), self.state)
        self.through(samples[whole:])

    def through(self, samples: Array) -> Array:
        """What every low-pass makes of the next stretch."""
        out = np.empty((len(samples), len(self.state)))
        low_passes(np.ascontiguousarray(samples), shares_of(self._rate_hz), self.state, out)
        return out


class WeightedMemory(LongMemory):
    """Low-passes of one channel, each added to it by its weight."""

    def __init__(self, rate_hz: int, weights: Array) -> None:
        super().__init__(rate_hz)
        shares = shares_of(rate_hz)
        even = np.zeros((len(shares), 1))
        even[: len(weights), 0] = weights
        late = np.arange(PASSED_FRAMES)
        kept = np.log1p(-shares)[:, None]
        self._reach = even * np.exp(kept * (late + 1))
        at_once = (even * shares[:, None] * np.exp(kept * late)).sum(axis=0)
        self._near = np.triu(at_once[np.abs(late - late[:, None])])

    def add(self, samples: Array, to: Array) -> None:
        """Add what the low-passes make of the next stretch."""
        rest = len(samples) % PASSED_FRAMES
        whole = len(samples) - rest
        self._add(np.ascontiguousarray(samples[:whole]), self.state, to[:whole])
        if rest:
            padded = np.zeros((2, PASSED_FRAMES))
            padded[0, :rest] = samples[whole:]
            self._add(padded[0], self.state.copy(), padded[1])
            to[whole:] += padded[1, :rest]
            self.through(samples[whole:])

    def _add(self, samples: Array, state: Array, to: Array) -> None:
        table = _passing_by(self._rate_hz)
        add_low_passes(samples, table, self._reach, self._near, state, to)


def filtered_blocks(
    model: TransferModel, blocks: Iterator[Array], before: Array
) -> Iterator[Array]:
    """What a filter adds to a piece, block by block; the first block has 128 frames or more."""
    channels = len(model.taps)
    memories = [WeightedMemory(model.rate_hz, weights) for weights in model.low_passes]
    for memory, played in zip(memories, before.T, strict=True):
        memory.pass_by(played)
    quick = np.fft.rfft(model.taps, _TRANSFORM, axis=1)
    past = before[-SPAN_FRAMES:].T
    first = True
    for block in blocks:
        around = np.concatenate([past, block.T], axis=1)
        added = np.empty((channels, len(block)))
        for start in range(0, len(block), _FRESH):
            few = around[:, start : start + _TRANSFORM]
            spectrum = np.fft.rfft(few, _TRANSFORM, axis=1)
            spectrum *= quick
            done = np.fft.irfft(spectrum, _TRANSFORM, axis=1)
            added[:, start : start + _FRESH] = done[:, SPAN_FRAMES : few.shape[1]]
        for memory, samples, to in zip(memories, around[:, SPAN_FRAMES:], added, strict=True):
            memory.add(samples, to)
        added += model.offset[:, None]
        yield np.ascontiguousarray((added[:, AHEAD_FRAMES:] if first else added).T)
        past, first = around[:, -SPAN_FRAMES:], False
