"""Linear effects at the file's own rate.

Coupling corners are first-order sections, all the rest is one short impulse response; together
they match the exact analogue response.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.fir_design import BAND_EDGE, Array, Complex, fit
from stagefx.effects.channel_pool import Channelwise, OneChannel
from stagefx.effects.effect import Setting
from stagefx.errors import EffectError
from stagefx.kernels.filters.fir import GROUP, TILE_FRAMES, convolve, convolve_by_size
from stagefx.kernels.filters.first_order import STATE, first_order

TAPS = 128
DELAY_FRAMES = TAPS // 2 - 1
MOST_TAPS = 4096
_FEWER_TAPS = (96, 80, 64)
_LOST_BY_FEWER = 8.0
"""By how much at least 16 taps fewer make the error of a smooth response larger."""
_EXACT = 2e-8
"""Relative error of the response up to which fewer taps will do."""
_CLOSE = 1e-4
"""Relative error of the response above which more taps are taken: 0.001 dB, 0.006 degrees."""
_LEAST = 1e-3
"""Share of the largest response below which an error counts as if the response were that large:
crosstalk through a capacitor vanishes towards 0 Hz."""
_LOWEST_HZ = 10.0
_OUT_OF_BAND = 1e-12
"""Weight of the squared error above the band; small, so that nothing in the band pays for it."""

_SMALL = 0.05
"""Sum of the sizes of taps, re a gain of 1, whose share of the sound single precision holds: its
rounding then lies 160 dB below full scale."""

_PROBE_HZ = np.geomspace(0.1, 1e6, 29)
_FLAT = 1e-12

ResponseAt = Callable[[Array], Complex]


@dataclass(frozen=True)
class Corner:
    """A coupling capacitor's corner: a pole and a zero on the real axis."""

    pole_rad_per_s: float
    zero_rad_per_s: float = 0.0

    def coefficients(self, rate_hz: int) -> Array:
        """The matched first-order section."""
        pole = float(np.exp(-self.pole_rad_per_s / rate_hz))
        zero = float(np.exp(-self.zero_rad_per_s / rate_hz))
        return np.array([(1.0 + pole) / (1.0 + zero), zero, pole])


@dataclass(frozen=True)
class Linear:
    """A linear effect."""

    name: str
    response: ResponseAt = field(repr=False)
    gain: float
    corners: tuple[Corner, ...] = ()
    settings: tuple[Setting, ...] = ()
    delay_frames: ClassVar[int] = DELAY_FRAMES

    def followed_by(self, other: Linear) -> Linear:
        """Join this effect and the next into one."""
        return Linear(
            f"{self.name}, {other.name}",
            lambda hz: self.response(hz) * other.response(hz),
            self.gain * other.gain,
            self.corners + other.corners,
        )

    @property
    def is_flat(self) -> bool:
        """Whether the response is the same at every frequency."""
        level = self.response(_PROBE_HZ) / self.gain
        return not self.corners and bool(np.all(np.abs(level - 1.0) < _FLAT))

    def runners(self, rate_hz: int, *, unit_v: float = 1.0) -> Callable[[int], OneChannel]:  # noqa: ARG002
        """What makes the runner of one channel."""
        taps = impulse_response(self, rate_hz)
        return lambda _channel: _LinearRunner(taps, self.corners, rate_hz)

    def at(self, rate_hz: int, channels: int, *, unit_v: float = 1.0) -> Channelwise:
        """A running copy."""
        return Channelwise([self.runners(rate_hz, unit_v=unit_v)], channels)


def impulse_response(effect: Linear, rate_hz: int) -> Array:
    """The short impulse response that makes an effect, beside its corners.

    Fitted by least squares up to 0.45 of the sampling rate; what lies above carries next to no
    weight.
    """

    def target(frequency: Array) -> Complex:
        z = np.exp(2j * np.pi * frequency)
        sections = np.ones_like(z)
        for corner in effect.corners:
            b0, zero, pole = corner.coefficients(rate_hz)
            sections = sections * b0 * (1.0 - zero / z) / (1.0 - pole / z)
        return np.asarray(effect.response(frequency * rate_hz) / (effect.gain * sections))

    def weight(frequency: Array) -> NDArray[np.float64]:
        return np.where(frequency <= BAND_EDGE, 1.0, _OUT_OF_BAND)

    shortest: Array | None = None
    for fewer in _FEWER_TAPS:
        beside = (TAPS - fewer) // 2
        found = fit(target, taps=fewer, delay=DELAY_FRAMES - beside, weight=weight)
        found = np.pad(found, beside)
        error = _error(found, target, rate_hz)
        if error > _EXACT:
            break
        shortest = found
        if error * _LOST_BY_FEWER > _EXACT:
            break
    if shortest is not None:
        return shortest
    taps = TAPS
    while taps <= MOST_TAPS:
        points = max(4096, 4 * taps)
        found = fit(target, taps=taps, delay=DELAY_FRAMES, weight=weight, points=points)
        if _error(found, target, rate_hz) <= _CLOSE:
            return found
        taps *= 2
    raise EffectError(
        f"a sampling rate of {rate_hz} Hz is too high for what '{effect.name}' does to the treble "
        f"here; convert the music to a lower rate, or use --without {effect.name.split(',')[0]}"
    )


def _error(taps: Array, target: ResponseAt, rate_hz: int) -> float:
    """Largest relative error of an impulse response, from 10 Hz to the edge of the band."""
    bins = 8 * taps.size
    frequency = np.arange(bins // 2) / bins
    inside = (frequency >= _LOWEST_HZ / rate_hz) & (frequency <= BAND_EDGE)
    wanted = target(frequency[inside])
    found = np.fft.rfft(taps, bins)[: bins // 2][inside]
    early = np.exp(2j * np.pi * frequency[inside] * DELAY_FRAMES)
    size = np.abs(wanted)
    return float((np.abs(found * early - wanted) / np.maximum(size, _LEAST * size.max())).max())


class _LinearRunner:
    """First-order sections, then the impulse response, on one channel."""

    delay_frames = DELAY_FRAMES

    def __init__(self, taps: Array, corners: tuple[Corner, ...], rate_hz: int) -> None:
        used = np.append(np.flatnonzero(taps), taps.size // 2)
        idle = int(min(used.min(), taps.size - 1 - used.max())) // 8 * 8
        self._taps = np.ascontiguousarray(taps[idle : taps.size - idle])
        self._small = self._taps.astype(np.float32)
        self._large = large_taps(self._taps)
        self._single = np.empty(0, np.float32)
        self._work = np.empty(TILE_FRAMES, np.float32)
        self._past = taps.size - 1 - idle
        self._sections = [corner.coefficients(rate_hz) for corner in corners]
        self.rewind()

    def rewind(self) -> None:
        self._states = [np.zeros(STATE) for _ in self._sections]
        self._history = np.zeros(self._past)

    def through(self, samples: Array) -> Array:
        work = np.empty(self._past + samples.size)
        work[: self._past] = self._history
        fresh, source = work[self._past :], samples
        for coefficients, state in zip(self._sections, self._states, strict=True):
            source = source.copy() if source is fresh else source
            first_order(source, coefficients, state, fresh)
            source = fresh
        if not self._sections:
            fresh[:] = samples
        self._history = work[samples.size :].copy()
        return self._convolved(work[: self._taps.size - 1 + samples.size], samples.size)

    def _convolved(self, line: Array, frames: int) -> Array:
        result, large = np.empty(frames), self._large
        if large.stop - large.start > self._taps.size // 2:
            convolve(line, self._taps, result)
            return result
        if self._single.size < line.size:
            self._single = np.empty(line.size, np.float32)
        taps, single = self._taps[large], self._single[: line.size]
        convolve_by_size(line, taps, large.start, self._small, single, self._work, result)
        return result


def large_taps(taps: Array) -> slice:
    """The groups of taps about the largest beside which the others are small."""
    sums = np.abs(taps).reshape(-1, GROUP).sum(axis=1)
    first = last = int(np.abs(taps).argmax()) // GROUP
    while sums[:first].sum() + sums[last + 1 :].sum() > _SMALL:
        first, last = max(first - 1, 0), min(last + 1, sums.size - 1)
    return slice(GROUP * first, GROUP * (last + 1))
