"""What passes from one channel to the other, and what sets them apart.

Gang mismatch of the control, crosstalk through a stray capacitance at the control, and crosstalk
through a shared ground.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from stagefx.circuit.circuit import Circuit
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.network.ladder import coupling_poles, input_admittance, laplace, solve
from stagefx.circuit.network.placement import load_parts, socket_parts, source_parts
from stagefx.dsp.fir_design import Array, Complex
from stagefx.effects.channel_pool import Channelwise
from stagefx.effects.effect import Setting
from stagefx.effects.kind import EffectKind, Piece, Place, Setup
from stagefx.effects.linear.sections import DELAY_FRAMES, Corner, Linear, ResponseAt
from stagefx.errors import EffectError
from stagefx.units import ratio

NAME = "crosstalk"
SETTINGS = (
    Setting("mismatch", "", 0.01, 100.0, "gain of the second channel over the first", 1.0),
    Setting("coupling_capacitance", "F", 0.0, 1e-6, "from channel to channel at the control", 0.0),
    Setting("shared_ground_resistance", "ohm", 0.0, 100.0, "common to both returns", 0.0),
)
_TWO = 2
_LOUDEST_HZ = 20e3


@dataclass(frozen=True)
class Crosstalk:
    """Crosstalk between two channels, and the gain of the second over the first."""

    crosstalk: ResponseAt = field(repr=False)
    mismatch: float = 1.0
    corners: tuple[Corner, ...] = ()
    name: ClassVar[str] = NAME
    gain: ClassVar[float] = 1.0
    settings: ClassVar[tuple[Setting, ...]] = SETTINGS

    def at(self, rate_hz: int, channels: int, *, unit_v: float = 1.0) -> CrosstalkRunner:  # noqa: ARG002
        """A running copy."""
        if channels != _TWO:
            raise EffectError(
                f"crosstalk needs two channels, and the music has {channels}; "
                "leave it out with --without crosstalk"
            )
        scale = float(abs(self.crosstalk(np.array([_LOUDEST_HZ]))[0]))
        across = None
        if scale > 0.0:
            across = Linear(NAME, self.crosstalk, scale, self.corners).at(rate_hz, channels)
        return CrosstalkRunner(across, scale, self.mismatch)


class CrosstalkRunner:
    """Mixes a little of each channel into the other."""

    def __init__(self, across: Channelwise | None, scale: float, mismatch: float) -> None:
        self._across = across
        self._scale = scale
        self._gains = np.array([1.0, mismatch])
        self._waiting = np.zeros((self.delay_frames, _TWO))

    @property
    def delay_frames(self) -> int:
        """By how many frames the output is late."""
        return 0 if self._across is None else DELAY_FRAMES

    def rewind(self) -> None:
        """Forget everything."""
        self._waiting = np.zeros((self.delay_frames, _TWO))
        if self._across is not None:
            self._across.rewind()

    def through(self, block: Array) -> Array:
        """Work on the next block."""
        if self._across is None:
            return np.asarray(block * self._gains)
        line = np.concatenate((self._waiting, block))
        own, self._waiting = line[: block.shape[0]], line[block.shape[0] :]
        crossed = self._scale * self._across.through(block)[:, ::-1]
        return np.ascontiguousarray((own + crossed) * self._gains)


def crosstalk(circuit: Circuit, hz: Array) -> Complex:
    """What of one channel reaches the other, referred to the same place in both."""
    table = circuit.stage.crosstalk
    s = laplace(hz)
    total = np.zeros(s.shape, dtype=np.complex128)
    if table is None:
        return total
    if table.coupling_capacitance is not None:
        parts = [*source_parts(circuit), *socket_parts(circuit)]
        impedance = solve(parts, s).impedance_ohm[0]
        through = s * table.coupling_capacitance.value * impedance
        total = total + through / (1.0 + through)
    if table.shared_ground_resistance is not None:
        load = input_admittance(load_parts(circuit), s)[0]
        total = total + table.shared_ground_resistance.value * load
    return np.asarray(total)


def _pieces(setup: Setup) -> Iterator[Piece]:
    stage = setup.circuit.stage
    mismatch_db = 0.0
    if stage.volume is not None and stage.volume.mismatch is not None:
        mismatch_db = stage.volume.mismatch.value
    if _needed(stage):
        yield (
            Place.BETWEEN_CHANNELS,
            Crosstalk(
                lambda hz: crosstalk(setup.circuit, hz), ratio(mismatch_db), _corners(setup.circuit)
            ),
        )


def _corners(circuit: Circuit) -> tuple[Corner, ...]:
    """Poles of the impedance where the capacitance hangs; the crosstalk has one zero at 0 Hz."""
    table = circuit.stage.crosstalk
    if table is None or table.coupling_capacitance is None:
        return ()
    poles = coupling_poles([*source_parts(circuit), *socket_parts(circuit)])
    return tuple(Corner(float(pole), math.inf if k else 0.0) for k, pole in enumerate(poles))


def _needed(stage: Stage) -> bool:
    mismatch = None if stage.volume is None else stage.volume.mismatch
    return stage.crosstalk is not None or (mismatch is not None and mismatch.value != 0.0)


EFFECT = EffectKind(NAME, "crosstalk and balance between channels", SETTINGS, _needed, _pieces)
