"""How fast the output can move: the same quick tones played quietly and loudly, side by side.

What the quiet ones became, made louder, is what the loud ones would be if nothing limited them.
Where they fall short in the way in which an output of limited slope does, its slew rate is the
limit that gives back what was recorded; else the largest slope captured is all that is known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.measure.rows import Scales, Slew
from stagefx.bench.measure.sines import Stretch
from stagefx.bench.measure.synchronised import Synchronised
from stagefx.bench.measure.tones.steady import steady
from stagefx.bench.signals.passages import Tones
from stagefx.bench.signals.plan import HIGHEST_SHARE

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

POINTS = 4096
"""Of one period, in which the limited output is worked out."""
_MOST_PERIODS = 24
_SETTLED = 1e-5
"""Change from one period to the next, re the peak, at which it has settled."""
_CLEAR_OF_NOISE = 20.0
_LEAST_CHANGE = 1e-8
"""Power of what changed, re all: less than -80 dB is not looked into."""
_EXPLAINED = 0.1
"""Share of what changed that a limit of slope may leave unexplained."""
_SLOWEST_SHARE = 0.1


@dataclass(frozen=True)
class _Lines:
    """One period of quick tones as lines of a spectrum, re the peak of a sine."""

    orders: NDArray[np.int64]
    base_hz: float
    peaks: Complex

    def wave(self) -> Array:
        """The period, evenly spaced, and closed."""
        spectrum = np.zeros(POINTS // 2 + 1, dtype=np.complex128)
        spectrum[self.orders] = self.peaks / 2j
        return np.fft.irfft(spectrum, POINTS) * POINTS

    def slopes(self) -> Array:
        """Its slope, per second."""
        turning = 2j * np.pi * self.base_hz * self.orders
        return _Lines(self.orders, self.base_hz, self.peaks * turning).wave()

    def of(self, wave: Array) -> Complex:
        """The same lines of another period."""
        return np.asarray(2j * np.fft.rfft(wave)[self.orders] / POINTS)


def slew_of(
    recording: Synchronised, quiet: Tones, loud: Tones, channel: int, scales: Scales
) -> Slew:
    """The slew rate, or at least the largest slope captured.

    The limit is a hard one.  An input pair that gives way gradually looks up to a tenth slower
    or quicker.
    """
    base_hz = common_hz(loud.hz)
    orders = np.arange(1, int(HIGHEST_SHARE * recording.signal.rate_hz / base_hz) + 1)
    heard, noise = _captured(recording, loud, channel, orders, base_hz)
    before, noise_before = _captured(recording, quiet, channel, orders, base_hz)
    louder = abs(loud.amplitudes[0] / quiet.amplitudes[0])
    played = np.isin(orders, [round(hz / base_hz) for hz in loud.hz])
    expected = _Lines(orders, base_hz, np.where(played, louder * before.peaks, 0.0))
    change = _power(heard.peaks - expected.peaks)
    unsure = (noise**2 + (louder * noise_before) ** 2) * len(orders)
    visible, (rise, fall) = False, _steepest(heard)
    if change > max(_CLEAR_OF_NOISE * unsure, _LEAST_CHANGE * _power(expected.peaks)):
        rates, left = _limit(expected, heard)
        visible = left < _EXPLAINED * change and left < _left_by_clipping(expected, heard)
        rise, fall = rates if visible else _surely(before, expected, heard)
    volts = None if scales.peak_v is None else 1e-6 * scales.peak_v
    return Slew(
        rise_per_s=rise,
        fall_per_s=fall,
        rise_v_per_us=None if volts is None else rise * volts,
        fall_v_per_us=None if volts is None else fall * volts,
        visible=visible,
    )


def common_hz(hz: tuple[float, ...]) -> float:
    """The frequency at which a sum of tones repeats."""
    return float(np.gcd.reduce([round(one) for one in hz]))


def _captured(
    recording: Synchronised,
    tones: Tones,
    channel: int,
    orders: NDArray[np.int64],
    base_hz: float,
) -> tuple[_Lines, float]:
    """The lines of a passage, and what noise alone would show as in each."""
    part = steady(recording, tones, channel, most_s=1.0)
    clock = part.faster(max(tones.hz))
    part = Stretch(part.samples, part.times_s * clock)
    peaks = part.amplitudes([float(order * base_hz) for order in orders])
    noise = part.noise_peak(max(tones.hz), apart_hz=base_hz)
    return _Lines(orders, base_hz, peaks), noise


def _steepest(lines: _Lines) -> tuple[float, float]:
    slopes = lines.slopes()
    return float(slopes.max()), float(-slopes.min())


def _surely(before: _Lines, expected: _Lines, heard: _Lines) -> tuple[float, float]:
    """Slopes that were there whatever changed the loud tones: quiet tones' slopes at the least.

    All that changed is taken to add up where the wave is steepest; a band-limited picture of an
    edge overshoots by less.
    """
    changed = _Lines(expected.orders, expected.base_hz, heard.peaks - expected.peaks)
    most = 2.0 * np.pi * changed.base_hz * float((changed.orders * np.abs(changed.peaks)).sum())
    sides = zip(_steepest(before), _steepest(expected), _steepest(heard), strict=True)
    rise, fall = (max(quiet, min(one, other) - most) for quiet, one, other in sides)
    return rise, fall


def _power(peaks: Complex) -> float:
    return float(np.square(np.abs(peaks)).sum())


def _limit(expected: _Lines, heard: _Lines) -> tuple[tuple[float, float], float]:
    """The slew rates, rise and fall, that turn what was expected into what was heard."""
    from scipy.optimize import minimize

    target = expected.wave()
    steepest = max(_steepest(expected))

    def left(logs: Array) -> float:
        rise, fall = (float(rate) for rate in np.exp(logs))
        return _power(heard.peaks - heard.of(slewed(target, expected.base_hz, rise, fall)))

    grid = np.log(steepest * np.geomspace(_SLOWEST_SHARE, 1.0, 24))
    start = min(grid, key=lambda log: left(np.array([log, log])))
    simplex = start + np.array([[0.0, 0.0], [0.06, 0.02], [0.02, 0.06]])
    found = minimize(
        left, simplex[0], method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 1e-5, "fatol": 0.0, "maxfev": 120},
    )  # fmt: skip
    rise, fall = (float(rate) for rate in np.exp(found.x))
    return (rise, fall), float(found.fun)


def slewed(target: Array, base_hz: float, rise_per_s: float, fall_per_s: float) -> Array:
    """A periodic voltage behind a hard limit of slope, once it has settled."""
    step_s = 1.0 / (base_hz * len(target))
    up, down = rise_per_s * step_s, fall_per_s * step_s
    wanted = target.tolist()
    at = wanted[0]
    still = _SETTLED * float(np.abs(target).max())
    for _ in range(_MOST_PERIODS):
        begun, period = at, []
        for value in wanted:
            at = min(max(value, at - down), at + up)
            period.append(at)
        if abs(at - begun) <= still:
            break
    return np.array(period)


def _left_by_clipping(expected: _Lines, heard: _Lines) -> float:
    """What a limit of level, instead of slope, would leave unexplained at its best."""
    target = expected.wave()
    peak = float(np.abs(target).max())
    limits = peak * np.geomspace(0.1, 1.0, 60)
    return min(_power(heard.peaks - heard.of(target.clip(-one, one))) for one in limits)
