"""The parts that may make a corner, and where in a stage they stand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from stagefx.bench.errors import ReadingsError
from stagefx.bench.readings.builder import Draft, as_quantity
from stagefx.bench.readings.inference.corner_places import (
    NOTHING_OHM,
    noise_gain,
    output_load_ohm,
    output_ohm,
)
from stagefx.bench.uncertainty import Measured, carry
from stagefx.circuit.circuit import Circuit
from stagefx.units import show

_KILOHERTZ = np.array([1000.0])
FILTER_OHM = 1e3
"""Resistance of a filter at the input of which nothing is known: as against radio (common
practice), and large beside a usual source's."""
INPUT_OHM = 100e3
"""Input resistance where none was read (common practice); takes next to nothing of the gain."""


@dataclass(frozen=True)
class CornerPart:
    """A part that makes a corner, as a number that is 0 where there is none and grows with it."""

    part: str
    start: float
    applied: Callable[[Circuit, float], Circuit]
    upside_down: bool = False

    def placed(self, draft: Draft, number: Measured) -> Draft:
        """Put it into a stage."""
        value = carry(lambda x: 1.0 / max(x, 1e-30), number) if self.upside_down else number
        table, _, name = self.part.partition(".")
        values = {name: as_quantity(value)}
        if table == "output_cable":
            values |= {"length": None, "capacitance_per_metre": None}  # type: ignore[dict-item]
        unit = "Hz" if name == "gain_bandwidth" else "F"
        draft = draft.having(table, **values)
        key = f"{name}_hz" if unit == "Hz" else f"{self.part.replace('.', '_')}_f"
        return draft.reporting(key, value, unit, part=self.part)


def treble_part(
    draft: Draft,
    corner_hz: float,
    place: str,
    readings: tuple[int, ...],
    *,
    guessed: bool = False,
) -> tuple[Draft, CornerPart]:
    """The part to put a treble corner down to."""
    if place == "amplifier":
        amplifier = draft.amplifier_for(readings[0]) if readings else draft.stage.amplifier
        if amplifier is not None and amplifier.feedback_capacitance is not None:
            start = amplifier.feedback_capacitance.value
            applied = _capacitor("feedback_f")
            return draft, CornerPart("amplifier.feedback_capacitance", start, applied)
        bandwidth = corner_hz * noise_gain(draft)
        if guessed:
            draft = draft.remarking(
                "corner-in-amplifier",
                f"the corner near {show(corner_hz, 'Hz', digits=3)} is put down to the amplifier's "
                'own speed; if a filter makes it, say place = "input" or "output"',
                *readings,
            )
        return draft, CornerPart(
            "amplifier.gain_bandwidth", 1.0 / bandwidth, _with_bandwidth, upside_down=True
        )
    if place == "output":
        return draft, _output_part(draft, corner_hz, readings)
    return _input_part(draft, corner_hz, readings, guessed=guessed)


def _with_bandwidth(circuit: Circuit, number: float) -> Circuit:
    device = replace(circuit.device, gain_bandwidth_hz=np.array([[1.0 / number]]))
    return replace(circuit, device=device)


def _capacitor(field: str, *, upside_down: bool = False) -> Callable[[Circuit, float], Circuit]:
    def applied(circuit: Circuit, number: float) -> Circuit:
        value = np.array([[1.0 / number if upside_down else number]])
        return replace(circuit, **{field: value})  # type: ignore[arg-type]

    return applied


def _output_part(draft: Draft, corner_hz: float, readings: tuple[int, ...]) -> CornerPart:
    impedance = output_ohm(draft)
    if impedance <= NOTHING_OHM:
        names = ", ".join(draft.sheet.named(number) for number in readings)
        raise ReadingsError(
            f"{names}: a corner at the output needs the resistance that makes it: an "
            "output-loading reading is missing"
        )
    start = 1.0 / (2.0 * np.pi * corner_hz * impedance)
    return CornerPart("output_cable.capacitance", start, _capacitor("output_cable_f"))


def _input_part(
    draft: Draft, corner_hz: float, readings: tuple[int, ...], *, guessed: bool
) -> tuple[Draft, CornerPart]:
    stage = draft.stage
    series = None if stage.input is None else stage.input.series_resistance
    volume = stage.volume
    wiper = 0.0
    if volume is not None and volume.place == "before":
        share = float(volume.law.ratio(draft.knob))
        wiper = volume.resistance.value * share * (1.0 - share)
    ohm = wiper + (0.0 if series is None else series.value)
    if ohm <= 0.0:
        ohm = FILTER_OHM
        draft = draft.having("input", series_resistance=f"{FILTER_OHM:g} ohm")
        draft = draft.remarking(
            "filter-assumed",
            f"the corner near {show(corner_hz, 'Hz', digits=3)} is put down to a filter at the "
            f"input with {show(FILTER_OHM, 'ohm')}, which no reading tells"
            + ('; place = "output" or "amplifier" would put it elsewhere' if guessed else ""),
            *readings,
        )
    start = 1.0 / (2.0 * np.pi * corner_hz * ohm)
    return draft, CornerPart("input.shunt_capacitance", start, _capacitor("input_shunt_f"))


def bass_part(
    draft: Draft, corner_hz: float, readings: tuple[int, ...]
) -> tuple[Draft, CornerPart]:
    """The part to put a bass corner down to: a described coupling capacitor, else at the input."""
    stage = draft.stage
    radian = 2.0 * np.pi * corner_hz
    coupled = stage.output is not None and stage.output.coupling is not None
    loaded = stage.load is not None and stage.load.resistance is not None
    if coupled and loaded and not _couples_input(draft):
        start = radian * output_load_ohm(draft)
        applied = _capacitor("output_coupling_f", upside_down=True)
        return draft, CornerPart("output.coupling", start, applied, upside_down=True)
    amplifier = stage.amplifier
    leg = None if amplifier is None else amplifier.gain_leg_capacitance
    if amplifier is not None and leg is not None and not _couples_input(draft):
        assert amplifier.gain_resistance is not None
        start = radian * amplifier.gain_resistance.value
        applied = _capacitor("gain_leg_f", upside_down=True)
        return draft, CornerPart("amplifier.gain_leg_capacitance", start, applied, upside_down=True)
    inverting = amplifier is not None and amplifier.topology == "inverting"
    if inverting and amplifier is not None and amplifier.gain_resistance is not None:
        ohm = amplifier.gain_resistance.value
    else:
        draft, ohm = _with_input_resistance(draft, corner_hz, readings)
    applied = _capacitor("input_coupling_f", upside_down=True)
    return draft, CornerPart("input.coupling", radian * ohm, applied, upside_down=True)


def _couples_input(draft: Draft) -> bool:
    return draft.stage.input is not None and draft.stage.input.coupling is not None


def _with_input_resistance(
    draft: Draft, corner_hz: float, readings: tuple[int, ...]
) -> tuple[Draft, float]:
    stage = draft.stage
    if stage.input is not None and stage.input.resistance is not None:
        return draft, stage.input.resistance.value
    draft = draft.having("input", resistance=f"{INPUT_OHM:g} ohm")
    return (
        draft.remarking(
            "input-resistance-assumed",
            f"the bass corner near {corner_hz:.3g} Hz is put down to a coupling capacitor into "
            f"{show(INPUT_OHM, 'ohm')}, which no reading tells; an input-loading reading would",
            *readings,
        ),
        INPUT_OHM,
    )
