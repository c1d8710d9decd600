"""Output and input resistance, by what loading does."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from stagefx.bench.conditions import on_bench
from stagefx.bench.draft import Draft
from stagefx.bench.errors import ReadingsError
from stagefx.bench.fitting import solve_for
from stagefx.bench.inversions.loading import input_resistance_ohm, output_resistance_ohm
from stagefx.bench.kinds import InputLoading, OutputLoading
from stagefx.bench.measured import Measured, carry
from stagefx.bench.slips import slip
from stagefx.stage.circuit import Circuit
from stagefx.stage.response import Response
from stagefx.units import show

LIGHT = 0.2
"""A load is too light where it leaves an output resistance this uncertain."""
HEAVY_A = 10e-3
"""Peak current from which a device may limit (common practice)."""


def find_output_resistance(draft: Draft) -> Draft:
    """What the output-loading readings tell.

    Parameters
    ----------
    draft : Draft
        Before.

    Returns
    -------
    Draft
        With the output's resistance, of a control at the output with the control's, and with the
        source's where the reading was taken there.

    Raises
    ------
    ReadingsError
        A voltage that a load raises, or readings that contradict each other.

    Examples
    --------
    >>> from stagefx.bench.derive import stage_from_readings
    >>> from stagefx.bench.readings import readings_from
    >>> loading = {"of": "output-loading", "open": "1.000 V", "loaded": "0.953 V"}
    >>> found = stage_from_readings(readings_from({"reading": [loading | {"load": "1 kohm"}]}))
    >>> round(found.figure("output_resistance_ohm").value, 3)
    49.318
    """
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
            draft = _placed(draft, found, readings[0][1].frequency.value)
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


def _placed(draft: Draft, found: Measured, hz: float) -> Draft:
    key, volume = "output_resistance_ohm", draft.stage.volume
    bench = on_bench(draft.stage, knob=draft.knob)
    if volume is not None and (volume.place == "after" or draft.stage.amplifier is None):
        part, field, note = "volume.resistance", "volume_ohm", "the wiper, at the knob's position"
        whole = _solved(bench, field, found, hz, _output_impedance, volume.resistance.value)
        if math.isfinite(whole.value):
            draft = draft.placing(part, whole, "volume_resistance_ohm", "ohm", note=note)
            return draft.reporting(key, found, "ohm", note="the wiper")
    own = _output_impedance(replace(bench, output_ohm=None), hz)
    if own > found.high:
        raise ReadingsError(
            f"{', '.join(draft.sheet.named(n) for n in found.readings)}: "
            f"{show(found.value, 'ohm')}, but the stage described has "
            f"{show(own, 'ohm')} without any output resistor"
        )
    if own >= found.value:
        draft = draft.having("output", resistance=None)
        return draft.reporting(key, found, "ohm", note="no resistor beyond what is described")
    if own < 1e-9 * found.value:
        return draft.placing("output.resistance", found, key, "ohm")
    resistor = _solved(bench, "output_ohm", found, hz, _output_impedance, found.value)
    draft = draft.placing("output.resistance", resistor, "output_resistor_ohm", "ohm")
    return draft.reporting(key, found, "ohm", note="resistor and amplifier together")


def find_input_resistance(draft: Draft) -> Draft:
    """What the input-loading readings tell.

    Parameters
    ----------
    draft : Draft
        Before.

    Returns
    -------
    Draft
        With the input's resistance; of a control at the input with the control's.

    Raises
    ------
    ReadingsError
        A voltage that a resistance in series raises, or readings that contradict each other.

    Examples
    --------
    >>> from stagefx.bench.derive import stage_from_readings
    >>> from stagefx.bench.readings import readings_from
    >>> reading = {"of": "input-loading", "direct": "1 V", "through": "0.5 V"}
    >>> found = stage_from_readings(
    ...     readings_from({"reading": [reading | {"resistance": "9 kohm"}]})
    ... )
    >>> round(found.stage.input.resistance.value)
    9000
    """
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
    return _input_placed(draft, found, readings[0][1].frequency.value)


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


def _input_placed(draft: Draft, found: Measured, hz: float) -> Draft:
    stage = draft.stage
    part, field, start = "input.resistance", "input_ohm", found.value
    if stage.volume is not None and (stage.volume.place == "before" or stage.amplifier is None):
        part, field, start = "volume.resistance", "volume_ohm", stage.volume.resistance.value
    elif stage.amplifier is not None and stage.amplifier.topology == "inverting":
        if stage.amplifier.gain_resistance is not None:
            part, field = "amplifier.gain_resistance", "gain_leg_ohm"
            start = stage.amplifier.gain_resistance.value
    solved = _solved(on_bench(stage, knob=draft.knob), field, found, hz, _input_impedance, start)
    if not math.isfinite(solved.value):
        raise ReadingsError(
            f"{', '.join(draft.sheet.named(n) for n in found.readings)}: an input resistance of "
            f"{show(found.value, 'ohm')} is more than the stage described can have with any {part}"
        )
    key = part.replace(".", "_") + "_ohm"
    if part == "input.resistance":
        return draft.placing(part, solved, "input_resistance_ohm", "ohm")
    return draft.placing(part, solved, key, "ohm", note="from the input resistance")


def _solved(
    circuit: Circuit,
    field: str,
    wanted: Measured,
    hz: float,
    impedance: Callable[[Circuit, float], float],
    start: float,
) -> Measured:
    """The resistance of a part that gives the impedance that was read."""

    def law(ohm: float) -> float:
        def at(value: float) -> float:
            changed: dict[str, Any] = {field: np.array([[value]])}
            return impedance(replace(circuit, **changed), hz)

        return solve_for(at, ohm, start)

    return carry(law, wanted)


def _output_impedance(circuit: Circuit, hz: float) -> float:
    return float(np.abs(Response(circuit, np.array([hz])).output_impedance_ohm[0, 0]))


def _input_impedance(circuit: Circuit, hz: float) -> float:
    return float(np.abs(Response(circuit, np.array([hz])).input_impedance_ohm[0, 0]))
