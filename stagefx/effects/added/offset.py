"""Direct voltage.

It moves the music towards one clip level, and stands at the load where nothing blocks it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.circuit import Circuit
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.limits import stated_direct_v
from stagefx.circuit.network.ladder import solve
from stagefx.circuit.network.placement import input_parts, load_parts, output_parts
from stagefx.effects.effect import Setting
from stagefx.effects.kind import EffectKind, Piece, Place, Setup
from stagefx.effects.limits.limit_set import LimitSet
from stagefx.effects.limits.limiter import Limiting

Array = NDArray[np.float64]
NAME = "offset"
SETTINGS = (
    Setting("level_v", "V", -100.0, 100.0, "direct voltage at the amplifier's output", 0.0),
)
_ALMOST_DIRECT = 2j * np.pi * np.array([1e-15])  # a period of 30 million years


@dataclass(frozen=True)
class Constant:
    """A direct voltage added to the signal."""

    level_v: float
    name: str = NAME
    gain: ClassVar[float] = 1.0
    settings: ClassVar[tuple[Setting, ...]] = SETTINGS

    def at(self, rate_hz: int, channels: int, *, unit_v: float = 1.0) -> ConstantRunner:  # noqa: ARG002
        """A running copy."""
        return ConstantRunner(self.level_v / unit_v)


class ConstantRunner:
    """Adds a constant to blocks."""

    delay_frames = 0

    def __init__(self, level: float) -> None:
        self._level = level

    def rewind(self) -> None:
        """Nothing to forget."""

    def through(self, block: Array) -> Array:
        """Add the constant to the next block."""
        return block + self._level


def direct_at_load_v(circuit: Circuit) -> float:
    """Direct voltage at the load whose sign is known."""
    after = [*output_parts(circuit), *load_parts(circuit)]
    if circuit.stage.amplifier is not None:
        begin_v = float(stated_direct_v(circuit)[0, 0])
        return begin_v * float(abs(solve(after, _ALMOST_DIRECT).transfer[0, 0]))
    offset = circuit.stage.source.offset
    begin_v = 0.0 if offset is None else offset.value
    parts = [*input_parts(circuit), *after]
    return begin_v * float(abs(solve(parts, _ALMOST_DIRECT).transfer[0, 0]))


def _pieces(setup: Setup) -> Iterator[Piece]:
    circuit = setup.circuit
    if circuit.stage.amplifier is not None:
        shift = float(stated_direct_v(circuit)[0, 0])
        if shift == 0.0:
            return
        yield Place.LIMITS, Limiting(NAME, LimitSet(shift_v=shift), SETTINGS)
    at_load = direct_at_load_v(circuit)
    if abs(at_load) > _NOTHING_V:
        yield Place.OUTPUT_NETWORK, Constant(at_load)


_NOTHING_V = 1e-9


def _needed(stage: Stage) -> bool:
    stated = [stage.source.offset]
    if stage.amplifier is not None:
        stated.append(stage.amplifier.offset_voltage)
    return any(offset is not None and offset.value != 0.0 for offset in stated)


EFFECT = EffectKind(NAME, "direct voltage", SETTINGS, _needed, _pieces)
