"""A stage's free figures: where each stands, and how far it may be off before anything is known."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stagefx.bench.fit.paper import circuit_of
from stagefx.bench.fit.rounds import Round, Seen, harmonics_row
from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.devices import device_figure
from stagefx.circuit.description.stage import Crosstalk, Output, Stage
from stagefx.circuit.response import Response
from stagefx.units import Quantity

DEVICE, PART, RESISTOR = math.log(3.0), 0.3, 0.5
"""How far, as a logarithm, a device's figure, a filter's part and an output resistor may be off."""
_KILOHERTZ = np.array([1000.0])
_SWING_V, _MISMATCH_DB, _HARMONIC_DB, _TRAVEL = 2.0, 3.0, 20.0, 0.5


@dataclass(frozen=True)
class Part:
    """One free figure."""

    key: str
    start: float
    reach: float
    unit: str
    logarithmic: bool = True
    least: float = -math.inf
    most: float = math.inf
    stated: bool = True
    index: int = 0

    def value(self, z: float) -> float:
        """The value at a distance from the start."""
        moved = (
            self.start * math.exp(z * self.reach)
            if self.logarithmic
            else (self.start + z * self.reach)
        )
        return min(max(moved, self.least), self.most)

    def size_of(self, doubt: float, value: float) -> float:
        """An uncertainty in units of the reach as one of the value."""
        return doubt * self.reach * (value if self.logarithmic else 1.0)

    def put(self, stage: Stage, value: float, tolerance: float | None = None) -> Stage:
        """A stage with this figure."""
        table, _, key = self.key.partition(".")
        holder: Any = getattr(stage, table)
        if holder is None:
            holder = Output() if table == "output" else Crosstalk()
        placed: Any = Quantity(value, tolerance)
        if key in {"gain", "position"}:
            placed = value
        update = {key: placed}
        if key == "harmonics":
            levels = list(holder.harmonics)
            levels[self.index] = placed
            update = {key: tuple(levels)}
        if key == "position":
            update["setting"] = None
        return stage.model_copy(update={table: holder.model_copy(update=update)})


def free_parts(
    stage: Stage, rounds: Sequence[Round], seen: Sequence[Sequence[Seen]]
) -> tuple[Stage, tuple[Part, ...]]:
    """The figures of a stage that a measurement may adjust."""
    kinds = {item.kind for some in seen for item in some}
    widened = _with_harmonics(stage, rounds[0], seen[0])
    parts = (
        *_control(widened, rounds),
        *_amplifier(widened, seen[0]),
        *_harmonics(widened, kinds),
        *_capacitors(widened),
        *_cables(widened),
        *_output(widened, len({one.load_ohm for one in rounds}) > 1),
        *_between_channels(widened, kinds),
    )
    return widened, parts


def _control(stage: Stage, rounds: Sequence[Round]) -> Iterator[Part]:
    """A knob whose place nobody read is free; else the amplifier's own gain is."""
    volume, amplifier = stage.volume, stage.amplifier
    known = volume is None or all(one.knob is not None for one in rounds)
    if volume is not None and not known:
        travel = nominal(stage).volume_position
        assert travel is not None
        start = (
            float(travel[0, 0])
            if volume.setting not in {None, "listening"}
            else (0.5 if volume.position is None else volume.position)
        )
        yield Part("volume.position", start, _TRAVEL, "", logarithmic=False, least=0.0, most=1.0)
        return
    if amplifier is None or amplifier.topology == "follower":
        return
    if amplifier.gain is not None:
        least = 1.0 if amplifier.topology == "non-inverting" else 1e-6
        yield Part("amplifier.gain", amplifier.gain, PART, "", least=least)
    elif amplifier.gain_resistance is not None:
        yield Part("amplifier.gain_resistance", amplifier.gain_resistance.value, PART, "ohm")


def _amplifier(stage: Stage, seen: Sequence[Seen]) -> Iterator[Part]:
    amplifier = stage.amplifier
    if amplifier is None:
        return
    measured = {item.kind: item for item in seen}

    def figure(key: str, unit: str) -> Iterator[Part]:
        known = device_figure(amplifier, key)
        if known is not None and known[1].value > 0.0:
            yield Part(f"amplifier.{key}", known[1].value, DEVICE, unit)

    yield from figure("gain_bandwidth", "Hz")
    for word in ("rise", "fall"):
        key, one = f"slew_{word}", measured.get(f"slew {word}")
        known = list(figure(key, "V/s"))
        if not known and one is not None and not one.at_least:
            known = [Part(f"amplifier.{key}", one.value * 1e6, DEVICE, "V/s", stated=False)]
        yield from known
    if stage.supply is not None:
        for word, rail in (("high", stage.supply.positive), ("low", stage.supply.negative)):
            losses = device_figure(amplifier, f"swing_loss_{word}")
            start = 0.0 if losses is None else losses[1].value
            yield Part(
                f"amplifier.swing_loss_{word}", start, _SWING_V, "V", logarithmic=False, least=0.0,
                most=0.9 * abs(rail.value), stated=losses is not None,
            )  # fmt: skip
        yield from figure("output_current", "A")
    yield from figure("voltage_noise", "V/rtHz")


def _with_harmonics(stage: Stage, one: Round, seen: Sequence[Seen]) -> Stage:
    """A stage with as many harmonics as were measured, at the output they were measured at."""
    orders = [int(item.kind.split()[1]) for item in seen if item.kind.startswith("harmonic")]
    row = harmonics_row(one.measurement)
    amplifier = stage.amplifier
    if not orders or amplifier is None or row is None or row.output_v_rms is None:
        return stage
    measured = {item.kind: item.value for item in seen}
    # stated at the amplifier's output, measured at the load
    passed = abs(complex(Response(circuit_of(stage, one), _KILOHERTZ).output[0, 0]))
    lowest = min(measured[f"harmonic {order}"] for order in orders) - 30.0
    levels = [measured.get(f"harmonic {order}", lowest) for order in range(2, max(orders) + 1)]
    update = {
        "harmonics": tuple(Quantity(round(level, 2)) for level in levels),
        "harmonics_level": Quantity(float(f"{row.output_v_rms / passed:.4g}")),
    }
    return stage.model_copy(update={"amplifier": amplifier.model_copy(update=update)})


def _harmonics(stage: Stage, kinds: set[str]) -> Iterator[Part]:
    amplifier = stage.amplifier
    if amplifier is None or amplifier.harmonics is None:
        return
    for index, level in enumerate(amplifier.harmonics):
        if f"harmonic {index + 2}" in kinds:
            yield Part(
                "amplifier.harmonics", level.value, _HARMONIC_DB, "dB", logarithmic=False,
                stated=False, index=index,
            )  # fmt: skip


def _capacitors(stage: Stage) -> Iterator[Part]:
    for table, key in (
        ("source", "coupling"), ("input", "coupling"), ("input", "shunt_capacitance"),
        ("amplifier", "feedback_capacitance"), ("amplifier", "gain_leg_capacitance"),
        ("output", "coupling"), ("load", "capacitance"),
    ):  # fmt: skip
        holder = getattr(stage, table)
        value = None if holder is None else getattr(holder, key)
        if value is not None and value.value > 0.0:
            yield Part(f"{table}.{key}", value.value, PART, "F")


def _cables(stage: Stage) -> Iterator[Part]:
    for table in ("input_cable", "output_cable"):
        cable = getattr(stage, table)
        for key, unit in (("capacitance_per_metre", "F/m"), ("capacitance", "F")):
            value = None if cable is None else getattr(cable, key)
            if value is not None and value.value > 0.0:
                yield Part(f"{table}.{key}", value.value, PART, unit)


def _output(stage: Stage, several_loads: bool) -> Iterator[Part]:  # noqa: FBT001
    stated = None if stage.output is None else stage.output.resistance
    if stated is not None and stated.value > 0.0:
        yield Part("output.resistance", stated.value, RESISTOR, "ohm")
    elif several_loads:
        yield Part("output.resistance", 100.0, DEVICE, "ohm", stated=False)


def _between_channels(stage: Stage, kinds: set[str]) -> Iterator[Part]:
    if stage.volume is not None and "balance" in kinds:
        mismatch = stage.volume.mismatch
        start = 0.0 if mismatch is None else mismatch.value
        yield Part(
            "volume.mismatch", start, _MISMATCH_DB, "dB", logarithmic=False,
            stated=mismatch is not None,
        )  # fmt: skip
    table = stage.crosstalk
    if table is not None and "crosstalk" in kinds:
        for key, unit in (("coupling_capacitance", "F"), ("shared_ground_resistance", "ohm")):
            value = getattr(table, key)
            if value is not None and value.value > 0.0:
                yield Part(f"crosstalk.{key}", value.value, DEVICE, unit)
