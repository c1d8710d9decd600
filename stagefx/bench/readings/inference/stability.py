"""Overshoot: how steady the amplifier's loop is, and how fast."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.bench.errors import ReadingsError
from stagefx.bench.readings.builder import Draft
from stagefx.bench.readings.closed_forms.overshoot import (
    SecondOrder,
    damping_of_overshoot,
    loop_of_ringing,
    second_pole_hz,
)
from stagefx.bench.readings.conditions import on_bench
from stagefx.bench.readings.inference.corner_places import noise_gain
from stagefx.bench.readings.kinds import Overshoot
from stagefx.bench.readings.solving import fit, solve_for
from stagefx.bench.uncertainty import Measured, carry
from stagefx.circuit.amplifier.stability import stability
from stagefx.circuit.circuit import Circuit
from stagefx.circuit.description.devices import device_figure
from stagefx.units import show

Array = NDArray[np.float64]
_FURTHEST = 1e4
_LEAST, _MOST = 1e-4, 0.9999


def find_stability(draft: Draft) -> Draft:
    """What the overshoot readings tell.

    The parts are solved for in the whole loop; the second-order formulas are where it begins.
    """
    readings = sorted(draft.sheet.of(Overshoot), key=lambda pair: _load_f(pair[1]))
    for load in {_load_f(reading) for _, reading in readings}:
        alike = [number for number, reading in readings if _load_f(reading) == load]
        shares = [draft.sheet.value(number, "percent") for number in alike]
        draft.sheet.agreed(shares, "an overshoot with one load", "%")
    for number, reading in readings:
        draft.amplifier_for(number)
        draft = _reported(draft, number)
        draft = _placed(draft, number, reading)
    return draft


def _load_f(reading: Overshoot) -> float:
    return 0.0 if reading.load_capacitance is None else reading.load_capacitance.value


def _reported(draft: Draft, number: int) -> Draft:
    share = draft.sheet.value(number, "percent")

    def of(quality: str) -> Measured:
        return carry(
            lambda s: float(getattr(SecondOrder(damping_of_overshoot(_inside(s))), quality)), share
        )

    for key, quality, unit in (
        ("damping", "damping", ""),
        ("quality", "quality", ""),
        ("peaking_db", "peaking_db", "dB"),
        ("phase_margin_deg", "phase_margin_deg", "deg"),
    ):
        draft = draft.reporting(key, of(quality), unit, note="as a pure second-order low-pass")
    return draft


def _inside(share: float) -> float:
    return min(max(share, _LEAST), _MOST)


def _placed(draft: Draft, number: int, reading: Overshoot) -> Draft:
    share = draft.sheet.value(number, "percent")
    damping, gain = damping_of_overshoot(_inside(share.value)), noise_gain(draft)
    bench = on_bench(
        draft.stage,
        knob=draft.knob,
        load_f=None if reading.load_capacitance is None else reading.load_capacitance.value,
    )
    loaded = reading.load_capacitance is not None
    if reading.ringing is not None:
        ringing = draft.sheet.value(number, "ringing")
        unity, second = loop_of_ringing(damping, ringing.value)
        start = [gain * unity, _second_start(reading, second)]
        return _both(draft, bench, [share, ringing], start, loaded=loaded)
    amplifier = draft.stage.amplifier
    assert amplifier is not None
    known = device_figure(amplifier, "gain_bandwidth")
    if known is None:
        return draft.remarking(
            "ringing-missing",
            "the overshoot alone tells the phase margin but not the device's speed: the ringing "
            "frequency is missing",
            number,
        )
    second = second_pole_hz(damping, known[1].value / gain)
    field = "open_loop_output_ohm" if loaded else "second_pole_hz"
    start_at = _second_start(reading, second)

    def law(wanted: float) -> float:
        return solve_for(
            lambda value: _overshoot(_with(bench, **{field: value})),
            _inside(wanted),
            start_at,
            furthest=_FURTHEST,
        )

    found = carry(law, share)
    if not math.isfinite(found.value):
        raise ReadingsError(
            f"{draft.sheet.named(number)}: the stage described overshoots by "
            f"{100.0 * _overshoot(bench):.2g} %, and no {field.rsplit('_', 1)[0]} makes it "
            f"{100.0 * share.value:.3g} %; is it the probe's ground lead that rings?"
        )
    return _second_placed(draft, found, loaded=loaded)


def _second_start(reading: Overshoot, second_hz: float) -> float:
    if reading.load_capacitance is None:
        return second_hz
    return 1.0 / (2.0 * math.pi * second_hz * reading.load_capacitance.value)


def _both(
    draft: Draft, bench: Circuit, told: list[Measured], start: list[float], *, loaded: bool
) -> Draft:
    """Speed and second pole together, from overshoot and ringing."""
    field = "open_loop_output_ohm" if loaded else "second_pole_hz"

    def model(numbers: Array) -> Array:
        circuit = _with(bench, gain_bandwidth_hz=numbers[0], **{field: numbers[1]})
        loop = stability(circuit)
        assert loop is not None
        ringing = float(loop.ringing_hz[0])
        ringing = ringing if math.isfinite(ringing) else 10.0 * told[1].value
        return np.array([min(float(loop.overshoot_percent[0]) / 100.0, 10.0), ringing])

    found = fit(model, told, start)
    if not found.good:
        names = " and ".join(draft.sheet.named(n) for n in told[0].readings)
        raise ReadingsError(
            f"{names}: no speed of the device gives {100.0 * told[0].value:.3g} % and "
            f"{show(told[1].value, 'Hz')} in the stage described; is it the probe's ground lead "
            "that rings?"
        )
    draft = draft.placing("amplifier.gain_bandwidth", found.values[0], "gain_bandwidth_hz", "Hz")
    return _second_placed(draft, found.values[1], loaded=loaded)


def _second_placed(draft: Draft, found: Measured, *, loaded: bool) -> Draft:
    if not loaded:
        return draft.placing("amplifier.second_pole", found, "second_pole_hz", "Hz")
    return draft.placing(
        "amplifier.open_loop_output_resistance",
        found,
        "open_loop_output_resistance_ohm",
        "ohm",
        note="at most: all that the load does not explain is put down to it",
    )


def _with(circuit: Circuit, **figures: float) -> Circuit:
    changed: dict[str, Any] = {key: np.array([[value]]) for key, value in figures.items()}
    return replace(circuit, device=replace(circuit.device, **changed))


def _overshoot(circuit: Circuit) -> float:
    loop = stability(circuit)
    return 0.0 if loop is None else min(float(loop.overshoot_percent[0]) / 100.0, 10.0)


def overshoot_on_bench(draft: Draft, reading: Overshoot) -> tuple[float, float]:
    """What a stage's small step does on the bench."""
    load = None if reading.load_capacitance is None else reading.load_capacitance.value
    loop = stability(on_bench(draft.stage, knob=draft.knob, load_f=load))
    if loop is None:
        return 0.0, math.nan
    return float(loop.overshoot_percent[0]) / 100.0, float(loop.ringing_hz[0])
