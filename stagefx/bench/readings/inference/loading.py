"""Output and input resistance, by what loading does."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from stagefx.bench.errors import ReadingsError
from stagefx.bench.readings.builder import Draft
from stagefx.bench.readings.closed_forms.loading import input_resistance_ohm, output_resistance_ohm
from stagefx.bench.readings.conditions import gain_of, on_bench
from stagefx.bench.readings.kinds import InputLoading, OutputLoading
from stagefx.bench.readings.solving import solve_for
from stagefx.bench.readings.unit_mistakes import slip
from stagefx.bench.uncertainty import Measured, carry, combined
from stagefx.circuit.circuit import Circuit
from stagefx.circuit.response import Response
from stagefx.units import show

LIGHT = 0.2
"""A load is too light where it leaves an output resistance this uncertain."""
HEAVY_A = 10e-3
"""Peak current from which a device may limit (common practice)."""


def find_output_resistance(draft: Draft) -> Draft:
    """What the output-loading readings tell."""
    for place in ("output", "source"):
        readings = [(n, r) for n, r in draft.sheet.of(OutputLoading) if r.at == place]
        if not readings:
            continue
        estimates = []
        for number, reading in readings:
            estimates.append(_output_resistance(draft, number))
            draft = _remarked(draft, number, reading, estimates[-1])
        found = draft.sheet.agreed(estimates, f"{place} resistance", "ohm")
        if place == "source":
            draft = draft.placing("source.resistance", found, "source_resistance_ohm", "ohm")
        else:
            draft = _placed(draft, readings, found)
    return draft


def _output_resistance(draft: Draft, number: int) -> Measured:
    sheet = draft.sheet
    volts = sheet.value(number, "open"), sheet.value(number, "loaded")
    if volts[1].low > volts[0].high:
        guess = slip(volts[1].value / volts[0].value)
        raise ReadingsError(
            f"{sheet.named(number)}: {show(volts[1].value, 'V')} loaded is above "
            f"{show(volts[0].value, 'V')} open, and a load cannot raise a voltage"
            f"; {guess or 'are the two exchanged?'}"
        )
    return carry(
        lambda *values: max(output_resistance_ohm(*values), 0.0),
        *volts,
        sheet.set_to(number, "load"),
    )


def _remarked(draft: Draft, number: int, reading: OutputLoading, found: Measured) -> Draft:
    if found.half_range > LIGHT * found.value:
        better = max(100.0, 10.0 ** math.floor(math.log10(max(found.high, 10.0)) + 1.0))
        hint = f"; {show(better, 'ohm')} would tell" if better < reading.load.value else ""
        draft = draft.remarking(
            "load-too-light",
            f"with {show(reading.load.value, 'ohm')} the output resistance is anything from "
            f"{show(found.low, 'ohm', digits=2)} to {show(found.high, 'ohm', digits=2)}: the load "
            f"is too light to tell{hint}",
            number,
        )
    peak = math.sqrt(2.0) * draft.sheet.value(number, "loaded").value / reading.load.value
    if peak > HEAVY_A:
        draft = draft.remarking(
            "load-too-heavy",
            f"the load asks for {show(peak, 'A', digits=2)} peak: a device may limit or clip, and "
            "the resistance found is then too high; read at a lower voltage or with 1 kohm",
            number,
        )
    return draft


def _placed(draft: Draft, readings: Sequence[tuple[int, OutputLoading]], found: Measured) -> Draft:
    key, volume = "output_resistance_ohm", draft.stage.volume
    bench, hz = on_bench(draft.stage, knob=draft.knob), readings[0][1].frequency.value
    if volume is not None and (volume.place == "after" or draft.stage.amplifier is None):
        whole = _output_part(draft, readings, "volume_ohm", volume.resistance.value)
        if math.isfinite(whole.value):
            note = "from the wiper, at the knob's position"
            draft = draft.placing(
                "volume.resistance", whole, "volume_resistance_ohm", "ohm", note=note
            )
            return draft.reporting(key, found, "ohm", note="the wiper")
    bare = Response(replace(bench, output_ohm=None), np.array([hz]))
    own = float(np.abs(bare.output_impedance_ohm[0, 0]))
    if own > found.high:
        raise ReadingsError(
            f"{', '.join(draft.sheet.named(n) for n in found.readings)}: "
            f"{show(found.value, 'ohm')}, but the stage described has "
            f"{show(own, 'ohm')} without any output resistor"
        )
    if own >= found.value:
        draft = draft.having("output", resistance=None)
        return draft.reporting(key, found, "ohm", note="no resistor beyond what is described")
    resistor = _output_part(draft, readings, "output_ohm", found.value)
    if own < 1e-9 * found.value or not math.isfinite(resistor.value):
        return draft.placing("output.resistance", found, key, "ohm")
    draft = draft.placing("output.resistance", resistor, "output_resistor_ohm", "ohm")
    return draft.reporting(key, found, "ohm", note="resistor and amplifier together")


def _output_part(
    draft: Draft, readings: Sequence[tuple[int, OutputLoading]], field: str, start: float
) -> Measured:
    """The resistance of a part that gives what loading was seen to do."""
    unloaded = on_bench(draft.stage, knob=draft.knob, unloaded=True)
    estimates = []
    for number, reading in readings:

        def part(seen: float, load_ohm: float, hz: float = reading.frequency.value) -> float:
            loaded = on_bench(draft.stage, knob=draft.knob, load_ohm=load_ohm)

            def share(ohm: float) -> float:
                with_load, without = (_with(c, field, ohm) for c in (loaded, unloaded))
                return gain_of(with_load, hz) / gain_of(without, hz)

            return solve_for(share, seen, start)

        ratio, load = _ratio(draft, number, "loaded", "open"), draft.sheet.set_to(number, "load")
        estimates.append(carry(part, ratio, load))
    return _together(estimates)


def _ratio(draft: Draft, number: int, above: str, below: str) -> Measured:
    volts = draft.sheet.value(number, above), draft.sheet.value(number, below)
    return carry(lambda a, b: min(a / b, 1.0 - 1e-9), *volts)


def _with(circuit: Circuit, field: str, ohm: float) -> Circuit:
    changed: dict[str, Any] = {field: np.array([[ohm]])}
    return replace(circuit, **changed)


def _together(estimates: Sequence[Measured]) -> Measured:
    """Their mean; what no resistance gives stays so."""
    lost = [one for one in estimates if not math.isfinite(one.value)]
    return lost[0] if lost else combined(estimates)


def find_input_resistance(draft: Draft) -> Draft:
    """What the input-loading readings tell."""
    readings = draft.sheet.of(InputLoading)
    if not readings:
        return draft
    estimates = [_input_resistance(draft, number) for number, _ in readings]
    found = draft.sheet.agreed(estimates, "input resistance", "ohm")
    draft = draft.reporting("input_resistance_ohm", found, "ohm")
    numbers = tuple(number for number, _ in readings)
    if not math.isfinite(found.value):
        return draft.remarking(
            "input-resistance-not-seen",
            "the resistance in series takes nothing away: the input resistance is at least "
            f"{show(found.low, 'ohm', digits=2)}; use a larger resistance",
            *numbers,
        )
    return _input_placed(draft, readings, found)


def _input_resistance(draft: Draft, number: int) -> Measured:
    sheet = draft.sheet
    volts = sheet.value(number, "direct"), sheet.value(number, "through")
    if volts[1].low > volts[0].high:
        guess = slip(volts[1].value / volts[0].value)
        raise ReadingsError(
            f"{sheet.named(number)}: {show(volts[1].value, 'V')} through the resistance is above "
            f"{show(volts[0].value, 'V')} straight on; {guess or 'are the two exchanged?'}"
        )

    def law(direct: float, through: float, series: float) -> float:
        found = input_resistance_ohm(direct, through, series)
        return found if found >= 0.0 else math.inf

    series = sheet.set_to(number, "resistance")
    if law(*(one.value for one in (*volts, series))) == math.inf:
        least = law(volts[0].high, volts[1].low, series.low)
        return Measured(math.inf, least, math.inf, (number,), volts[0].assumed)
    return carry(law, *volts, series)


def _input_placed(
    draft: Draft, readings: Sequence[tuple[int, InputLoading]], found: Measured
) -> Draft:
    stage = draft.stage
    part, field, start = "input.resistance", "input_ohm", found.value
    if stage.volume is not None and (stage.volume.place == "before" or stage.amplifier is None):
        part, field, start = "volume.resistance", "volume_ohm", stage.volume.resistance.value
    elif (amplifier := stage.amplifier) is not None and amplifier.topology == "inverting":
        leg = amplifier.gain_resistance
        if leg is not None:
            part, field, start = "amplifier.gain_resistance", "gain_leg_ohm", leg.value
    solved = _input_part(draft, readings, field, start)
    if not math.isfinite(solved.value):
        raise ReadingsError(
            f"{', '.join(draft.sheet.named(n) for n in found.readings)}: an input resistance of "
            f"{show(found.value, 'ohm')} is more than the stage described can have with any {part}"
        )
    if part == "input.resistance":
        return draft.placing(part, solved, "input_resistance_ohm", "ohm")
    key = part.replace(".", "_") + "_ohm"
    return draft.placing(part, solved, key, "ohm", note="from the input resistance")


def _input_part(
    draft: Draft, readings: Sequence[tuple[int, InputLoading]], field: str, start: float
) -> Measured:
    """The resistance of a part that gives what a resistance in series was seen to take away."""
    bench = on_bench(draft.stage, knob=draft.knob)
    estimates = []
    for number, reading in readings:

        def part(seen: float, series_ohm: float, hz: float = reading.frequency.value) -> float:
            def share(ohm: float) -> float:
                return through_share(_with(bench, field, ohm), series_ohm, hz)

            return solve_for(share, seen, start)

        ratio = _ratio(draft, number, "through", "direct")
        estimates.append(carry(part, ratio, draft.sheet.set_to(number, "resistance")))
    return _together(estimates)


def through_share(circuit: Circuit, series_ohm: float, hz: float) -> float:
    """What a resistance in series leaves at the input socket."""
    admittance = complex(Response(circuit, np.array([hz])).input_admittance[0, 0])
    if not math.isfinite(abs(admittance)):
        return 0.0
    return 1.0 / abs(1.0 + admittance * series_ohm)
