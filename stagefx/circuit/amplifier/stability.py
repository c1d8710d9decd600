"""How steady an amplifier's loop is: phase margin, peaking, overshoot and ringing.

All small-signal: a step large enough to slew hides its own ringing.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from stagefx.circuit.amplifier.loop import Loop, feedback_loop
from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.network.polynomial import Complex, plus, roots, slope, times, trimmed, value
from stagefx.circuit.network.rational import UNIT_RAD_PER_S
from stagefx.circuit.search import highest

_STEP_POINTS, _PEAK_POINTS = 180, 120
_SEEN_PERCENT = 1.0
_APART = 1e-8
"""Poles nearer to one another than this, relative, are moved apart by it: partial fractions of a
double pole do not exist, and 1e-8 moves an overshoot by no more than that."""


@dataclass(frozen=True)
class Stability:
    """What a feedback loop's polynomials say of its steadiness."""

    loop: Loop

    @cached_property
    def poles(self) -> Complex:
        """Poles of the closed loop, in units of `UNIT_RAD_PER_S`, shape (draws, poles)."""
        return roots(self.loop.closed.below)

    @cached_property
    def oscillates(self) -> Array:
        """1 where a pole lies in the right half plane or on its edge, else 0, shape (draws,)."""
        return np.asarray(np.any(self.poles.real >= 0.0, axis=1), dtype=np.float64)

    @cached_property
    def crossings(self) -> Array:
        """Where the loop gain is one, in units of `UNIT_RAD_PER_S`; NaN fills the rows."""
        above, below = _power(self.loop.gain.above), _power(self.loop.gain.below)
        squares = roots(trimmed(plus(above, -below)))
        real = (np.abs(squares.imag) <= 1e-9 * np.abs(squares)) & (squares.real > 0.0)
        crossing = np.sqrt(np.where(real, squares.real, 1.0))
        for _ in range(3):  # Newton, on the logarithm of the loop gain
            s = 1j * crossing
            gain, turn = self._gain(s), self._turn(s)
            step = np.where(real, np.log(np.abs(gain)) / np.where(real, turn, 1.0), 0.0)
            crossing = crossing - np.where(np.abs(step) < 0.1 * crossing, step, 0.0)
        return np.where(real, crossing, np.nan)

    def _gain(self, s: Complex) -> Complex:
        return np.asarray(value(self.loop.gain.above, s) / value(self.loop.gain.below, s))

    def _turn(self, s: Complex) -> Array:
        """Slope of the loop gain's logarithm along the frequency axis."""
        above, below = (
            value(slope(p), s) / value(p, s) for p in (self.loop.gain.above, self.loop.gain.below)
        )
        return np.asarray((1j * (above - below)).real)

    @cached_property
    def phase_margin_deg(self) -> Array:
        """Smallest phase left to 180 degrees where the loop gain is one; infinite if never."""
        crossed = ~np.isnan(self.crossings)
        gain = self._gain(1j * np.where(crossed, self.crossings, 1.0))
        margins = np.where(crossed, np.degrees(np.angle(-gain)), np.inf)
        return np.asarray(margins.min(axis=1, initial=np.inf))

    @cached_property
    def crossover_hz(self) -> Array:
        """Highest frequency at which the loop gain is one; 0 if it never is."""
        crossed = np.where(np.isnan(self.crossings), 0.0, self.crossings)
        return np.asarray(crossed.max(axis=1, initial=0.0)) * UNIT_RAD_PER_S / (2.0 * np.pi)

    @cached_property
    def ringing_hz(self) -> Array:
        """Frequency of the least damped oscillating pole pair; NaN where nothing is seen to ring.

        A pair whose step overshoots by less than 1 % is not seen.
        """
        seen = (self.overshoot_percent >= _SEEN_PERCENT)[:, None]
        swinging = seen & (self.poles.imag > 1e-6 * np.abs(self.poles))
        damping = np.where(swinging, -self.poles.real / np.abs(self.poles), np.inf)
        least = np.argmin(damping, axis=1)[:, None]
        found = np.take_along_axis(self.poles.imag, least, axis=1)[:, 0]
        return np.where(swinging.any(axis=1), found, np.nan) * UNIT_RAD_PER_S / (2.0 * np.pi)

    @cached_property
    def peaking_db(self) -> Array:
        """Highest rise of the closed loop's response over its level at low frequencies."""
        size = np.abs(self.poles)
        low, high = np.log(size.min(axis=1) * 0.03), np.log(size.max(axis=1) * 3.0)
        flat = self.loop.closed.above[:, 0] / self.loop.closed.below[:, 0]

        def level(log_w: Array) -> Array:
            s = 1j * np.exp(log_w)
            gain = value(self.loop.closed.above, s) / value(self.loop.closed.below, s)
            return np.asarray(np.abs(gain) / np.abs(flat)[:, None])

        _, top = highest(level, _between(low, high, _PEAK_POINTS))
        peaking = 20.0 * np.log10(np.maximum(top, 1.0))
        return np.asarray(np.where(self.oscillates > 0.0, np.inf, peaking))

    @cached_property
    def overshoot_percent(self) -> Array:
        """How far a small step's response passes its final value; infinite if it oscillates.

        The step response is the sum of its poles' exponentials, y(t)/y(inf) = 1 + sum c e^(p t),
        exact at any time.
        """
        poles, weights = self._step_terms()
        size = np.abs(poles)
        low, high = np.log(0.05 / size.max(axis=1)), np.log(12.0 / size.min(axis=1))

        def excess(log_t: Array) -> Array:
            total = np.zeros(log_t.shape)
            t = np.exp(log_t)
            for index in range(poles.shape[1]):
                term = weights[:, index, None] * np.exp(poles[:, index, None] * t)
                total += term.real
            return total

        steady = self.oscillates == 0.0
        with np.errstate(over="ignore", invalid="ignore"):
            _, top = highest(excess, _between(low, high, _STEP_POINTS))
        return np.where(steady, 100.0 * np.maximum(top, 0.0), np.inf)

    def _step_terms(self) -> tuple[Complex, Complex]:
        """The closed loop's poles and the weight of each in its step response."""
        poles = _separated(self.poles)
        closed = self.loop.closed
        apart = poles[:, :, None] - poles[:, None, :]
        apart[:, np.arange(poles.shape[1]), np.arange(poles.shape[1])] = 1.0
        steepness = closed.below[:, -1:] * np.prod(apart, axis=2)
        final = closed.above[:, :1] / closed.below[:, :1]
        return poles, np.asarray(value(closed.above, poles) / (steepness * poles * final))


def _power(p: Array) -> Array:
    """|p(jw)|² as a polynomial of w², coefficients by rising powers."""
    signs = (-1.0) ** np.arange(p.shape[1])
    square = times(p, p * signs)[:, ::2]
    return np.asarray(square * (-1.0) ** np.arange(square.shape[1]))


def _separated(poles: Complex) -> Complex:
    count = poles.shape[1]
    gaps = np.abs(poles[:, :, None] - poles[:, None, :])
    gaps[:, np.arange(count), np.arange(count)] = np.inf
    close = gaps.min(axis=2, initial=np.inf) < _APART * np.abs(poles)
    return np.asarray(np.where(close, poles * (1.0 + _APART * np.arange(1, count + 1)), poles))


def _between(low: Array, high: Array, points: int) -> Array:
    return np.asarray(low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, points))


def stability(circuit: Circuit) -> Stability | None:
    """How steady a circuit's loop is.

    Linear, and as good as the two-pole model of the device: its input capacitance, further poles
    and the supply's impedance are not in it.
    """
    loop = feedback_loop(circuit)
    return None if loop is None else Stability(loop)
