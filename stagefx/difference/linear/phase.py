"""Phase between two versions, group delay, and the delay between the channels."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.difference.linear.response import DITHER_MEAN_SQUARE, Band, Response
from stagefx.difference.linear.transfer import TransferModel
from stagefx.dsp.bands import band_edges_hz
from stagefx.dsp.spectra import PairSpectra

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

LOWEST_HZ, HIGHEST_HZ = 500.0, 8000.0
"""Where delays are heard best."""
_STEP = 1e-3
"""Share of the frequency over which the phase is differenced."""
_OVERLAP_LOSS, _WINDOW_LINES = 1.06, 1.5
_SLACK = 1.03
_TURNED_OVER = 0.5 * math.pi
_LEAST_STRAIGHT = 0.7
"""Mean cosine of what a delay leaves of the phase: below, it is no delay."""
_AS_STRAIGHT = 0.98
_DELAY_STEP_S, _DELAY_STEPS = 10e-6, 150
_BENT = "the phase between the channels has changed by more than a delay"
PHASE_LOWEST_HZ, PHASE_HIGHEST_HZ = 100.0, 1400.0
"""Where the ears go by phase."""
_TWELFTH = 2.0 ** (1.0 / 12.0)


@dataclass(frozen=True)
class DelayFound:
    """A delay that the second version has more than the first."""

    value_s: float | None
    floor_s: float | None = None
    at_hz: float | None = None
    reason: str = ""

    @property
    def milliseconds(self) -> float | None:
        """The value in ms."""
        return None if self.value_s is None else 1e3 * self.value_s

    @property
    def microseconds(self) -> float | None:
        """The value in us."""
        return None if self.value_s is None else 1e6 * self.value_s

    def as_json(self) -> dict[str, Any]:
        """The delay as plain values."""
        if self.value_s is None:
            return {"value": None, "reason": self.reason or "not measured"}
        return {"value_s": self.value_s, "floor_s": self.floor_s, "at_hz": self.at_hz}


def with_phases(response: Response, spectra: PairSpectra, model: TransferModel) -> Response:
    """A response with phase and coherence beside its levels."""
    hz = np.array([band.hz for band in response.bands])
    transfer = model.response(hz)
    lines = _Lines.of(spectra)
    shares = np.array([[lines.coherence(c, at) for at in hz] for c in range(len(transfer))])
    channels = tuple(
        tuple(map(_with_phase, bands, transfer[c], shares[c]))
        for c, bands in enumerate(response.channels)
    )
    together = tuple(map(_with_phase, response.bands, transfer.sum(axis=0), shares.min(axis=0)))
    return Response(together, channels)


def _with_phase(band: Band, transfer: complex, coherence: float) -> Band:
    if band.db is None:
        return replace(band, coherence=float(coherence))
    phase = math.degrees(math.atan2(transfer.imag, transfer.real))
    return replace(band, phase_deg=phase, coherence=float(coherence))


@dataclass(frozen=True)
class _Lines:
    """Lines of averaged spectra, channel by channel, and what they say of a band."""

    hz: Array
    first: Array
    whole: Array  # of the second
    unexplained: Array
    dither: float  # in each line
    independent: float  # segments

    @classmethod
    def of(cls, spectra: PairSpectra, seen_share: float = 1.0) -> _Lines:
        return cls(
            hz=spectra.hz,
            first=spectra.first,
            # what the spectra call second is the difference from the first
            whole=spectra.first + 2.0 * spectra.cross.real + spectra.second,
            unexplained=spectra.unexplained,
            dither=2.0 * spectra.noise_power(DITHER_MEAN_SQUARE),  # both versions have it
            independent=max(spectra.segments * seen_share / _OVERLAP_LOSS, 1.0),
        )

    def within(self, middle_hz: float) -> NDArray[np.intp]:
        low, high = band_edges_hz(middle_hz)
        return np.flatnonzero((self.hz >= low) & (self.hz < high))

    def coherence(self, channel: int, middle_hz: float) -> float:
        """Share of the second's power in a band that a linear filter makes of the first."""
        inside = self.within(middle_hz)
        whole = float(self.whole[channel, inside].sum())
        if whole <= 0.0:
            return 0.0
        share = float(self.unexplained[channel, inside].sum()) / whole
        return min(max(1.0 - share, 0.0), 1.0)

    def unsure_radians(self, channel: int, middle_hz: float) -> float:
        """Standard deviation of a band's mean phase."""
        inside = self.within(middle_hz)
        x = self.first[channel, inside]
        total, whole = float(x.sum()), float(self.whole[channel, inside].sum())
        if total <= 0.0 or whole <= 0.0:
            return math.inf
        noise = max(float(self.unexplained[channel, inside].sum()), self.dither * len(inside))
        lines = max(total**2 / float(np.square(x).sum()) / _WINDOW_LINES, 1.0)
        return math.sqrt(noise / (2.0 * whole * lines * self.independent))


def _measured(bands: tuple[Band, ...]) -> list[float]:
    low, high = LOWEST_HZ / _SLACK, HIGHEST_HZ * _SLACK
    return [band.hz for band in bands if band.db is not None and low <= band.hz <= high]


def group_delays_between(
    response: Response, spectra: PairSpectra, model: TransferModel
) -> tuple[DelayFound, ...]:
    """Group delays, 500 Hz to 8 kHz, less the pure delay that the alignment took away.

    ``τ = -dφ / dω``, in each third octave of each channel; positive where the second is later.
    """
    found, lines = [], _Lines.of(spectra, model.seen_share)
    for channel, bands in enumerate(response.channels):
        middles = np.array(_measured(bands))
        if not len(middles):
            continue
        delays = delays_of(lambda hz, of=channel: model.response(hz)[of], middles)  # type: ignore[misc]
        for hz, delay in zip(middles.tolist(), delays.tolist(), strict=True):
            low, high = band_edges_hz(hz)
            slope = math.sqrt(12.0) / (2.0 * math.pi * (high - low))
            unsure_s = 2.0 * slope * lines.unsure_radians(channel, hz)
            found.append(DelayFound(delay, unsure_s, hz))
    return tuple(found)


def delays_of(response: Callable[[Array], Complex], hz: Array) -> Array:
    """Group delay, in s, of a response from Hz to complex."""
    around = response(np.concatenate([(1.0 - _STEP) * hz, (1.0 + _STEP) * hz]))
    below, above = np.split(around, 2)
    return np.asarray(-np.angle(above * below.conj()) / (4.0 * np.pi * _STEP * hz) + 0.0)


def largest_delay(delays: Iterable[DelayFound]) -> DelayFound:
    """The delay that lies farthest from none, those beyond their floor first."""
    known = [each for each in delays if each.value_s is not None]
    if not known:
        return DelayFound(None, reason="the music has nothing there that could be measured")
    certain = [each for each in known if abs(each.value_s or 0.0) >= (each.floor_s or 0.0)]
    return max(certain or known, key=lambda each: abs(each.value_s or 0.0))


def interchannel_delay_between(
    response: Response, spectra: PairSpectra, model: TransferModel
) -> DelayFound:
    """How much later the first channel has become than the second, 500 Hz to 8 kHz.

    Least squares through the origin over the third octaves that both channels sound in.
    """
    count = len(response.channels)
    pairs = [(one, other) for one in range(count) for other in range(one + 1, count)]
    lines = _Lines.of(spectra, model.seen_share)
    found = [_between(response, lines, model, one, other) for one, other in pairs]
    known = [each for each in found if each.value_s is not None]
    if known:
        return max(known, key=lambda each: abs(each.value_s or 0.0))
    return found[0] if found else DelayFound(None, reason="there is one channel")


def _between(
    response: Response, lines: _Lines, model: TransferModel, one: int, other: int
) -> DelayFound:
    both = [set(_measured(response.channels[channel])) for channel in (one, other)]
    middles = np.array(sorted(both[0] & both[1]))
    if not len(middles):
        return DelayFound(None, reason="fewer than two channels sound there")
    transfer = model.response(middles)
    phase = np.angle(transfer[one] * transfer[other].conj())
    omega = 2.0 * np.pi * middles
    unsure = [
        math.hypot(*(lines.unsure_radians(channel, hz) for channel in (one, other)))
        for hz in middles.tolist()
    ]
    near = _nearest_delay(omega, phase)
    left = np.angle(np.exp(1j * (phase + omega * near)))
    if float(np.cos(left).mean()) < _LEAST_STRAIGHT:
        turned = float(np.median(np.abs(phase))) > _TURNED_OVER
        reason = "one channel is turned over, or much later" if turned else _BENT
        return DelayFound(None, reason=reason)
    steep = float(np.square(omega).sum())
    value = near - float((omega * left).sum()) / steep + 0.0
    return DelayFound(value, 2.0 * float(np.linalg.norm(omega * np.array(unsure))) / steep)


def _nearest_delay(omega: Array, phase: Array) -> float:
    """The delay, of a grid, that straightens a phase best; 0 where it does as well as any."""
    grid = _DELAY_STEP_S * np.arange(-_DELAY_STEPS, _DELAY_STEPS + 1)
    straight = np.cos(phase[:, None] + omega[:, None] * grid).mean(axis=0)
    best = int(np.argmax(straight))
    here = float(straight[_DELAY_STEPS])
    return 0.0 if here >= _AS_STRAIGHT * float(straight[best]) else float(grid[best])


def interchannel_phase_between(spectra: PairSpectra, delay: DelayFound) -> float | None:
    """How much the phase between two channels has changed, 100 Hz to 1.4 kHz, less pure delay.

    ``Σ w |arg H1 H2* + ω τ| / Σ w``, in degrees, bands of a twelfth of an octave weighted by what
    both channels of the first have; None of one channel, of more, or where nothing sounds.
    """
    if len(spectra.first) != 2:
        return None
    hz = spectra.hz
    turn = np.exp(2j * np.pi * hz * (delay.value_s or 0.0))
    through = spectra.first + spectra.cross  # X* Y; the second is told by what it has more
    product = through[0] * through[1].conj() * turn
    weights, turned = [], []
    edge = PHASE_LOWEST_HZ
    while edge < PHASE_HIGHEST_HZ:
        inside = (hz >= edge) & (hz < edge * _TWELFTH)
        edge *= _TWELFTH
        both = np.sqrt(spectra.first[0, inside] * spectra.first[1, inside])
        if both.any() and product[inside].any():
            weights.append(float(both.sum()))
            turned.append(abs(float(np.angle(product[inside].sum()))))
    if not weights:
        return None
    return math.degrees(float(np.average(turned, weights=weights)))
