"""A reservoir charged through its transformer's winding: one cycle of the steady state, exactly.

Behind the winding's resistance stands the rectified secondary less the diodes' drop; a constant
current is drawn.  From the moment the falling reservoir meets the wave, until the current has
come back to zero, the resistance and the reservoir answer the wave as a linear circuit does; the
rest of the cycle the reservoir falls in a straight line.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.search import Truth, last

Array = NDArray[np.float64]
_HALVINGS, _HALVINGS_WITHIN = 44, 24
"""Of a quarter of a turn: to 1e-13 radians where it matters, to 1e-7 for the end of a pulse, whose
error counts by its square."""
_QUARTER = 0.5 * np.pi
_LEAST_OHM = 1e-6
"""A winding without resistance counts as so much; the voltages do not show it."""
_AT, _WEIGHT = np.polynomial.legendre.leggauss(32)


@dataclass(frozen=True)
class Charging:
    """What charges a reservoir, and what it stands at; arrays of shape (draws,)."""

    highest_v: Array
    lowest_v: Array
    peak_a: Array
    rms_a: Array


@dataclass(frozen=True)
class Winding:
    """Everything around a reservoir; arrays of shape (draws,)."""

    crest_v: Array
    drop_v: Array
    resistance_ohm: Array
    reservoir_f: Array
    load_a: Array
    mains_hz: Array
    filled_hz: Array

    def charging(self) -> Charging:
        """Solve the steady state.

        With theta the mains' angle from a crest, charging starts at a theta below zero from which
        the reservoir, charged and then drained, is back at the same voltage one cycle later.
        """
        cycle = 2.0 * np.pi * self.mains_hz / self.filled_hz
        fall = self.load_a / self.reservoir_f / (2.0 * np.pi * self.mains_hz)

        def too_early(start: Array) -> Truth:
            pulse = _Pulse(self, start, self.wave_v(start))
            stop = pulse.stop(_HALVINGS_WITHIN)
            left = pulse.reservoir_v(stop) - fall * (cycle - (stop - start))
            return np.asarray(left > self.wave_v(start))

        earliest = self._angle_at(self.drop_v)
        start = last(too_early, earliest, np.zeros_like(earliest))
        empty = ~too_early(earliest)
        # an empty reservoir waits until the winding gives more than is drawn
        refilled = self._angle_at(self.drop_v + self.resistance_ohm * self.load_a)
        begin = np.where(empty, refilled, start)
        pulse = _Pulse(self, begin, np.where(empty, 0.0, self.wave_v(start)))
        highest, lowest, peak_a = pulse.extremes()
        rms_a = pulse.rms_a(np.where(empty, earliest, begin), cycle)
        return Charging(highest, np.where(empty, 0.0, lowest), peak_a, rms_a)

    def wave_v(self, angle: Array) -> Array:
        """The secondary less the diodes' drop."""
        return np.asarray(self.crest_v * np.cos(angle) - self.drop_v)

    def _angle_at(self, volts: Array) -> Array:
        """The angle before a crest at which the secondary stands at some voltage; 0 if never."""
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(self.crest_v > 0.0, volts / self.crest_v, 1.0)
        return np.asarray(-np.arccos(np.clip(share, 0.0, 1.0)))


class _Pulse:
    """One pulse of current, from an angle at which the reservoir stands at a voltage."""

    def __init__(self, winding: Winding, start: Array, start_v: Array) -> None:
        self._winding, self._start = winding, start
        self._ohm = np.maximum(winding.resistance_ohm, _LEAST_OHM)
        self._lag = 2.0 * np.pi * winding.mains_hz * self._ohm * winding.reservoir_f
        # v + lag dv/dtheta = crest cos theta - drop - R I
        self._cosine = winding.crest_v / (1.0 + self._lag**2)
        self._constant = -winding.drop_v - self._ohm * winding.load_a
        self._rest = start_v - self._settled_v(start)

    def _settled_v(self, at: Array) -> Array:
        turned = np.cos(at) + self._lag * np.sin(at)
        return np.asarray(self._cosine * turned + self._constant)

    def reservoir_v(self, at: Array) -> Array:
        """The reservoir while the current flows; empty where that is less than the load's."""
        left = np.exp(-(at - self._start) / self._lag)
        return np.maximum(self._settled_v(at) + self._rest * left, 0.0)

    def current_a(self, at: Array) -> Array:
        """The current through the winding."""
        return np.asarray((self._winding.wave_v(at) - self.reservoir_v(at)) / self._ohm)

    def _rises(self, at: Array) -> Truth:
        """Whether the current still grows: the wave is steeper than the reservoir."""
        charging = (self.current_a(at) - self._winding.load_a) * self._ohm / self._lag
        charging = np.where(self.reservoir_v(at) > 0.0, charging, 0.0)
        return np.asarray(-self._winding.crest_v * np.sin(at) > charging)

    def stop(self, halvings: int = _HALVINGS) -> Array:
        """The angle at which the current is back at zero."""
        quarter = np.full_like(self._start, _QUARTER)
        return last(lambda at: self.current_a(at) > 0.0, self._start, quarter, halvings=halvings)

    def extremes(self) -> tuple[Array, Array, Array]:
        """Highest and lowest voltage, where the current is the load's, and its peak."""
        stop, load = self.stop(), self._winding.load_a
        middle = last(self._rises, self._start, stop)
        valley = last(lambda at: self.current_a(at) < load, self._start, middle)
        crest = last(lambda at: self.current_a(at) > load, middle, stop)
        return self.reservoir_v(crest), self.reservoir_v(valley), self.current_a(middle)

    def rms_a(self, earliest: Array, cycle: Array) -> Array:
        """Over a cycle; before the pulse, from an angle on, an empty reservoir takes it all."""
        first = _squared(lambda at: self._winding.wave_v(at) / self._ohm, earliest, self._start)
        pulse = _squared(self.current_a, self._start, self.stop())
        return np.asarray(np.sqrt((first + pulse) / cycle))


def _squared(current_a: Callable[[Array], Array], start: Array, stop: Array) -> Array:
    """Integral of a current squared between two angles."""
    half = 0.5 * (stop - start)
    squares = [
        weight * np.square(current_a(start + half * (1.0 + at)))
        for at, weight in zip(_AT, _WEIGHT, strict=True)
    ]
    return np.asarray(np.sum(squares, axis=0) * half)
