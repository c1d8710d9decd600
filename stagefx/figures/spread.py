"""The draws of a spread: every part anywhere within its tolerance, every device within its class.

A part's draws are uniform within its tolerance, stated or usual.  A device figure that comes from
a class lies below its usual value in half of the draws and above it in the other half, on each
side ever rarer, along a straight line, towards the class's low and high end; so the usual value
is the middle of the spread, however lopsided the class.  Slew rates up and down come from one
current and one capacitor, and are drawn together; all else is drawn apart.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from stagefx.circuit.circuit import Array, Circuit, Pick, build
from stagefx.circuit.description.stage import Stage
from stagefx.errors import StageError
from stagefx.units import Quantity

FEWEST_DRAWS = 20
"""Below this a 5 % end has no draw of its own."""
DRAWS_A_CHUNK = 500
"""Draws worked out at once: few enough for the arrays to stay in a processor's cache."""

RESISTOR, CAPACITOR, CONTROL = 0.01, 0.20, 0.20
USUAL_TOLERANCE = {
    "source.resistance": RESISTOR,
    "volume.resistance": CONTROL,
    "input.series_resistance": RESISTOR,
    "input.resistance": RESISTOR,
    "amplifier.feedback_resistance": RESISTOR,
    "amplifier.gain_resistance": RESISTOR,
    "output.resistance": RESISTOR,
    "load.resistance": RESISTOR,
    "source.coupling": CAPACITOR,
    "input.coupling": CAPACITOR,
    "input.shunt_capacitance": CAPACITOR,
    "input.capacitance": CAPACITOR,
    "amplifier.feedback_capacitance": CAPACITOR,
    "amplifier.gain_leg_capacitance": CAPACITOR,
    "output.coupling": CAPACITOR,
    "load.capacitance": CAPACITOR,
    "supply.reservoir": CAPACITOR,
}
"""Tolerances where none is stated (common practice); cables and all else have none."""

_DRAWN_WITH = {"amplifier.slew_fall": "amplifier.slew_rise"}


@dataclass(frozen=True)
class Spread:
    """A stage's draws."""

    stage: Stage
    parts: dict[str, Array]
    draws: int
    seed: int

    @property
    def varied(self) -> dict[str, Array]:
        """The parts that differ from draw to draw, shape (draws,)."""
        return {key: v[:, 0] for key, v in self.parts.items() if np.any(v != v[0])}

    def circuits(self) -> Iterator[Circuit]:
        """The circuits of the draws, in chunks."""
        for begin in range(0, self.draws, DRAWS_A_CHUNK):
            yield build(self.stage, self._rows(slice(begin, begin + DRAWS_A_CHUNK)))

    def _rows(self, rows: slice) -> Pick:
        return lambda key, _figures: self.parts[key][rows]


def draw(stage: Stage, draws: int, *, seed: int = 0) -> Spread:
    """Draw a stage's parts."""
    if draws < FEWEST_DRAWS:
        raise StageError(
            f"a spread of {draws} draws is too few for its 5 % ends; it needs at least "
            f"{FEWEST_DRAWS}, and 10000 settle them"
        )
    if seed < 0:
        raise StageError(f"the seed {seed} is negative; it must be 0 or more")
    parts: dict[str, Array] = {}

    def pick(key: str, figures: Any) -> Array:
        parts[key] = _drawn(key, figures, _luck(key, draws, seed))
        return parts[key]

    build(stage, pick)
    return Spread(stage, parts, draws, seed)


def _luck(key: str, draws: int, seed: int) -> Array:
    """One uniform number a draw, of a part's own."""
    own = zlib.crc32(_DRAWN_WITH.get(key, key).encode())
    generator = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, own])))
    return generator.random((draws, 1))


def _drawn(key: str, figures: tuple[Any, Any, Any], luck: Array) -> Array:
    low, usual, high = (float(figure) for figure in figures)
    if (low, high) != (usual, usual):
        return _split(low, usual, high, luck)
    tolerance = figures[1].tolerance if isinstance(figures[1], Quantity) else None
    if tolerance is None:
        tolerance = USUAL_TOLERANCE.get(key, 0.0)
    return np.asarray(usual * (1.0 + tolerance * (2.0 * luck - 1.0)))


def _split(low: float, usual: float, high: float, luck: Array) -> Array:
    """Two half triangles, highest at the usual value, each with half of the draws."""
    below = usual - (usual - low) * (1.0 - np.sqrt(2.0 * np.minimum(luck, 0.5)))
    above = usual + (high - usual) * (1.0 - np.sqrt(2.0 - 2.0 * np.maximum(luck, 0.5)))
    return np.where(luck < 0.5, below, above)
