"""Every reading beside what the stage that was found gives, on the same bench."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType
from typing import Any

from stagefx.bench.readings.builder import Draft
from stagefx.bench.readings.closed_forms.crosstalk import crosstalk_share
from stagefx.bench.readings.closed_forms.noise_bands import noise_powers
from stagefx.bench.readings.closed_forms.square_waves import (
    RISE_TIMES_CORNER,
    cascade_rise_time_s,
    slewing_rise_time_s,
    tilt,
)
from stagefx.bench.readings.conditions import gain_of, on_bench, output_share
from stagefx.bench.readings.inference.channels import ended_impedance_ohm
from stagefx.bench.readings.inference.dc import direct_reach
from stagefx.bench.readings.inference.loading import through_share
from stagefx.bench.readings.inference.noise import noise_bench
from stagefx.bench.readings.inference.points import REFERENCE_HZ
from stagefx.bench.readings.inference.response import levels_db
from stagefx.bench.readings.inference.stability import overshoot_on_bench
from stagefx.bench.readings.inference.swing import clip_bench, direct_v
from stagefx.bench.readings.kinds import (
    Balance,
    Clip,
    Crosstalk,
    Gain,
    InputLoading,
    Noise,
    Offset,
    OutputLoading,
    Overshoot,
    Rail,
    Response,
    RiseTime,
    Slew,
    SupplyCurrent,
    Tilt,
)
from stagefx.bench.readings.reading import Reading
from stagefx.bench.readings.report import Checked
from stagefx.bench.readings.solving import solve_for
from stagefx.bench.uncertainty import Measured, carry
from stagefx.circuit.limits import limits
from stagefx.units import ROOT_TWO, decibels

Rows = Iterator[tuple[str, Measured, float, str]]
_HALF_POWER_DB = -10.0 * math.log10(2.0)


def checked(draft: Draft) -> tuple[Checked, ...]:
    """Work out every reading from the stage that was found."""
    rows = []
    for number, reading in enumerate(draft.sheet.readings.reading, start=1):
        for key, measured, predicted, unit in _CHECKS[type(reading)](draft, number, reading):
            if math.isfinite(predicted):
                name = f"{reading.of} {key}".strip()
                rows.append(Checked(number, name, measured, predicted, unit))
    return tuple(rows)


def _gain(draft: Draft, number: int, reading: Gain) -> Rows:
    volts = draft.sheet.value(number, "output"), draft.sheet.value(number, "input")
    load = None if reading.load is None else reading.load.value
    circuit = on_bench(draft.stage, knob=draft.knob, load_ohm=load)
    measured = carry(lambda output, given: output / given, *volts)
    yield "", measured, gain_of(circuit, reading.frequency.value), ""


def _response(draft: Draft, number: int, reading: Response) -> Rows:
    given = levels_db(on_bench(draft.stage, knob=draft.knob), [reading.frequency.value])
    yield "", draft.sheet.level_db(number), float(given[0]), "dB"


def _clip(draft: Draft, number: int, reading: Clip) -> Rows:
    circuit = clip_bench(draft, reading)
    found = limits(circuit)
    if found is None or found.high_v is None or found.low_v is None:
        return
    share, seen = output_share(circuit), direct_v(circuit)[1]
    high, low = float(found.high_v[0]) * share, float(found.low_v[0]) * share
    for key, peak in (("high", high), ("low", low)):
        if getattr(reading, key) is not None:
            yield key, draft.sheet.value(number, key), peak + seen, "V"
    if reading.output is not None:
        yield "output", draft.sheet.value(number, "output"), min(high, -low) / ROOT_TWO, "V rms"


def _output_loading(draft: Draft, number: int, reading: OutputLoading) -> Rows:
    volts = draft.sheet.value(number, "loaded"), draft.sheet.value(number, "open")
    measured = carry(lambda loaded, unloaded: loaded / unloaded, *volts)
    hz, load = reading.frequency.value, reading.load.value
    if reading.at == "source":
        own = draft.stage.source.resistance.value
        yield "loaded over open", measured, load / (load + own), ""
        return
    loaded = gain_of(on_bench(draft.stage, knob=draft.knob, load_ohm=load), hz)
    unloaded = gain_of(on_bench(draft.stage, knob=draft.knob, unloaded=True), hz)
    if unloaded > 0.0:
        yield "loaded over open", measured, loaded / unloaded, ""


def _input_loading(draft: Draft, number: int, reading: InputLoading) -> Rows:
    volts = draft.sheet.value(number, "through"), draft.sheet.value(number, "direct")
    measured = carry(lambda through, direct: through / direct, *volts)
    bench = on_bench(draft.stage, knob=draft.knob)
    through = through_share(bench, reading.resistance.value, reading.frequency.value)
    yield "through over direct", measured, through, ""


def _corner_hz(draft: Draft, *, treble: bool) -> float:
    circuit = on_bench(draft.stage, knob=draft.knob)
    start = REFERENCE_HZ * (30.0 if treble else 1.0 / 30.0)
    return solve_for(lambda hz: float(levels_db(circuit, [hz])[0]), _HALF_POWER_DB, start)


def _rise_time(draft: Draft, number: int, reading: RiseTime) -> Rows:
    seen = draft.sheet.value(number, "time")
    corner = _corner_hz(draft, treble=True)
    own = RISE_TIMES_CORNER / corner if corner > REFERENCE_HZ else 0.0
    edge = 0.0 if reading.generator is None else draft.sheet.value(number, "generator").value
    given = cascade_rise_time_s(own, edge)
    slew = limits(on_bench(draft.stage, knob=draft.knob))
    if reading.step is not None and slew is not None and slew.slew_rise_v_per_s is not None:
        slewing = slewing_rise_time_s(reading.step.value, float(slew.slew_rise_v_per_s[0]))
        given = max(given, slewing)
    if given > 0.0:
        yield "time", seen, given, "s"


def _tilt(draft: Draft, number: int, reading: Tilt) -> Rows:
    corner = _corner_hz(draft, treble=False)
    if 0.0 < corner < REFERENCE_HZ:
        given = tilt(corner, reading.frequency.value, reading.definition)
        yield "percent", draft.sheet.value(number, "percent"), given, "%"


def _slew(draft: Draft, number: int, reading: Slew) -> Rows:
    circuit = on_bench(draft.stage, knob=draft.knob)
    found, share = limits(circuit), output_share(circuit)
    if found is None:
        return
    for key in ("rise", "fall"):
        limit = getattr(found, f"slew_{key}_v_per_s")
        if getattr(reading, key) is not None and limit is not None:
            yield key, draft.sheet.value(number, key), float(limit[0]) * share, "V/s"


def _overshoot(draft: Draft, number: int, reading: Overshoot) -> Rows:
    told = {"gain_bandwidth_hz", "second_pole_hz", "open_loop_output_resistance_ohm"}
    if not told & {found.key for found in draft.found}:
        return
    share, ringing = overshoot_on_bench(draft, reading)
    yield "percent", draft.sheet.value(number, "percent"), share, "%"
    if reading.ringing is not None:
        yield "ringing", draft.sheet.value(number, "ringing"), ringing, "Hz"


def _noise(draft: Draft, number: int, reading: Noise) -> Rows:
    powers = noise_powers(*noise_bench(draft, reading))
    yield "level", draft.sheet.value(number, "level"), math.sqrt(sum(powers.values())), "V rms"


def _offset(draft: Draft, number: int, reading: Offset) -> Rows:
    gain, ohm = direct_reach(draft, reading)
    device = on_bench(draft.stage, knob=draft.knob).device
    if gain == 0.0 or device.offset_voltage_v is None:
        return
    offset = float(device.offset_voltage_v[0, 0])
    bias = 0.0 if device.bias_current_a is None else float(device.bias_current_a[0, 0])
    measured = draft.sheet.value(number, "output")
    told = any(found.part == "amplifier.bias_current" and not found.note for found in draft.found)
    # where bias was not told by two readings, it stands to the offset as it does in the figures
    sign = 1.0 if told else math.copysign(1.0, measured.value)
    bias_v = bias * ohm if told else sign * abs(bias) * ohm if bias else 0.0
    yield "output", measured, offset * gain + bias_v, "V"


def _rail(draft: Draft, number: int, reading: Rail) -> Rows:
    for key in ("positive", "negative"):
        if getattr(reading, key) is not None and draft.stage.supply is not None:
            given = getattr(draft.stage.supply, key).value
            yield key, draft.sheet.value(number, key), given, "V"


def _supply_current(draft: Draft, number: int, reading: SupplyCurrent) -> Rows:
    amplifier = draft.stage.amplifier
    if amplifier is None or amplifier.quiescent_current is None:
        return
    sizes = [
        carry(abs, draft.sheet.value(number, key))
        for key in ("positive", "negative")
        if getattr(reading, key) is not None
    ]
    mean = carry(lambda *currents: sum(currents) / len(currents), *sizes)
    yield "mean", mean, amplifier.quiescent_current.value, "A"


def _balance(draft: Draft, number: int, reading: Balance) -> Rows:
    del reading
    volume = draft.stage.volume
    if volume is None or volume.mismatch is None:
        return
    sides = draft.sheet.value(number, "right"), draft.sheet.value(number, "left")
    measured = carry(lambda right, left: decibels(right / left), *sides)
    yield "", measured, volume.mismatch.value, "dB"


def _crosstalk(draft: Draft, number: int, reading: Crosstalk) -> Rows:
    table = draft.stage.crosstalk
    if table is None:
        return
    capacitance, ground = table.coupling_capacitance, table.shared_ground_resistance
    load = draft.stage.load
    ohm = None if load is None or load.resistance is None else load.resistance.value
    ohm = ohm if reading.load is None else reading.load.value
    given = crosstalk_share(
        reading.frequency.value,
        ended_impedance_ohm(draft, reading),
        capacitance_f=0.0 if capacitance is None else capacitance.value,
        ground_share=0.0 if ground is None or ohm is None else ground.value / ohm,
    )
    volts = draft.sheet.value(number, "undriven"), draft.sheet.value(number, "driven")
    measured = carry(lambda undriven, driven: decibels(undriven / driven), *volts)
    yield "", measured, decibels(given), "dB"


_CHECKS: Mapping[type[Reading], Callable[[Draft, int, Any], Rows]] = MappingProxyType(
    {
        Gain: _gain,
        Response: _response,
        Clip: _clip,
        OutputLoading: _output_loading,
        InputLoading: _input_loading,
        RiseTime: _rise_time,
        Tilt: _tilt,
        Slew: _slew,
        Overshoot: _overshoot,
        Noise: _noise,
        Offset: _offset,
        Rail: _rail,
        SupplyCurrent: _supply_current,
        Balance: _balance,
        Crosstalk: _crosstalk,
    }
)
