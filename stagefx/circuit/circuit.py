"""A stage's values as arrays, one row a draw, ready for the network solve.

The same code works out one nominal stage and ten thousand draws of a spread: every value has
shape (draws, 1), so that it broadcasts against frequencies of shape (frequencies,).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from stagefx.circuit.description.stage import Cable, Stage
from stagefx.circuit.description.taper import setting_ratio
from stagefx.circuit.values import (
    Array,
    ChainValues,
    Device,
    Pick,
    SupplyValues,
    chain_values,
    device_values,
    supply_values,
)

__all__ = ["Array", "Circuit", "Device", "Pick", "build", "nominal"]


@dataclass(frozen=True)
class Circuit:
    """A stage's parts as arrays of shape (draws, 1), in SI units; None is absent."""

    stage: Stage
    temperature_k: float
    source_ohm: Array
    source_coupling_f: Array | None = None
    input_cable_f: Array | None = None
    source_v_rms: Array | None = None
    source_offset_v: Array | None = None
    volume_ohm: Array | None = None
    volume_ratio: Array | None = None
    volume_position: Array | None = None
    input_coupling_f: Array | None = None
    input_series_ohm: Array | None = None
    input_shunt_f: Array | None = None
    input_ohm: Array | None = None
    input_f: Array | None = None
    feedback_ohm: Array | None = None
    gain_leg_ohm: Array | None = None
    feedback_f: Array | None = None
    gain_leg_f: Array | None = None
    gain: Array | None = None
    device: Device = field(default_factory=Device)
    output_ohm: Array | None = None
    output_coupling_f: Array | None = None
    output_cable_f: Array | None = None
    load_ohm: Array | None = None
    load_f: Array | None = None
    supply: SupplyValues | None = None
    chain: ChainValues | None = None

    @property
    def draws(self) -> int:
        """Number of rows."""
        return int(self.source_ohm.shape[0])

    def at_position(self, position: float | Array) -> Circuit:
        """The same circuit with the knob elsewhere."""
        if self.stage.volume is None:
            return self
        travel = np.broadcast_to(np.asarray(position, dtype=np.float64), (self.draws, 1))
        return replace(
            self, volume_position=travel, volume_ratio=self.stage.volume.law.ratio(travel)
        )


def nominal(stage: Stage) -> Circuit:
    """A stage's circuit at its stated values and its device's usual figures."""
    return build(stage, lambda _key, spread: np.array([[float(spread[1])]]))


def build(stage: Stage, pick: Pick) -> Circuit:
    """A stage's circuit, with draws chosen part by part."""

    def part(table: str, key: str) -> Array | None:
        holder = getattr(stage, table)
        value = None if holder is None else getattr(holder, key)
        return None if value is None else pick(f"{table}.{key}", (value, value, value))

    def cable(table: str) -> Array | None:
        holder: Cable | None = getattr(stage, table)
        return None if holder is None else pick(table, (holder.total,) * 3)

    resistance = pick("source.resistance", (stage.source.resistance,) * 3)
    position, ratio = _knob(stage, int(resistance.shape[0]))
    return Circuit(
        stage=stage,
        temperature_k=stage.temperature.value,
        source_ohm=resistance,
        source_coupling_f=part("source", "coupling"),
        input_cable_f=cable("input_cable"),
        source_v_rms=part("source", "level"),
        source_offset_v=part("source", "offset"),
        volume_ohm=part("volume", "resistance"),
        volume_ratio=ratio,
        volume_position=position,
        input_coupling_f=part("input", "coupling"),
        input_series_ohm=part("input", "series_resistance"),
        input_shunt_f=part("input", "shunt_capacitance"),
        input_ohm=part("input", "resistance"),
        input_f=part("input", "capacitance"),
        feedback_ohm=part("amplifier", "feedback_resistance"),
        gain_leg_ohm=part("amplifier", "gain_resistance"),
        feedback_f=part("amplifier", "feedback_capacitance"),
        gain_leg_f=part("amplifier", "gain_leg_capacitance"),
        gain=part("amplifier", "gain"),
        device=device_values(stage, pick),
        output_ohm=part("output", "resistance"),
        output_coupling_f=part("output", "coupling"),
        output_cable_f=cable("output_cable"),
        load_ohm=part("load", "resistance"),
        load_f=part("load", "capacitance"),
        supply=supply_values(stage, pick),
        chain=chain_values(stage, pick),
    )


def _knob(stage: Stage, draws: int) -> tuple[Array | None, Array | None]:
    if stage.volume is None:
        return None, None
    volume, law = stage.volume, stage.volume.law
    if volume.setting is not None and volume.setting != "listening":
        ratio = setting_ratio(volume.setting)
        position = law.position(ratio)
        ratio = float(law.ratio(position)) if law.steps_db else ratio
    else:
        position = 1.0 if volume.position is None else volume.position
        ratio = float(law.ratio(position))
    return np.full((draws, 1), position), np.full((draws, 1), ratio)
