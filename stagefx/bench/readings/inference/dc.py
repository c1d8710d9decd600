"""Rails, supply current and direct voltage at the output."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from stagefx.bench.readings.builder import Draft
from stagefx.bench.readings.conditions import on_bench
from stagefx.bench.readings.kinds import Offset, Rail, SupplyCurrent
from stagefx.bench.uncertainty import Measured, carry, exactly
from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.dc import direct_path, output_direct_v
from stagefx.circuit.description.devices import device_figure
from stagefx.circuit.network.placement import load_parts, output_parts
from stagefx.units import show

_ALL_BIAS = "all of the direct voltage put down to it"
_UNEQUAL = 0.2
"""Share by which supply currents may differ before it is worth a remark."""


def find_rails(draft: Draft) -> Draft:
    """What the rail readings tell."""
    values: dict[str, Measured] = {}
    for key in ("positive", "negative"):
        numbers = [n for n, r in draft.sheet.of(Rail) if getattr(r, key) is not None]
        if numbers:
            estimates = [draft.sheet.value(number, key) for number in numbers]
            values[key] = draft.sheet.agreed(estimates, f"a {key} rail", "V")
    if not values:
        return draft
    if draft.stage.supply is None:
        whole = next(iter(values.values()))
        if "positive" not in values:
            return draft.remarking(
                "rail-missing",
                "only the negative rail was read; the positive one is missing, so no supply is "
                "described",
                *whole.readings,
            )
        values.setdefault("negative", exactly(0.0, whole))
        draft = draft.having("supply", positive=f"{values['positive'].value!r} V", negative="0 V")
    for key, rail in values.items():
        draft = draft.placing(f"supply.{key}", rail, f"rail_{key}_v", "V")
    return draft


def find_supply_current(draft: Draft) -> Draft:
    """What the supply-current readings tell."""
    readings = draft.sheet.of(SupplyCurrent)
    if not readings:
        return draft
    draft.amplifier_for(readings[0][0])
    estimates = []
    for number, reading in readings:
        sizes = [
            carry(abs, draft.sheet.value(number, key))
            for key in ("positive", "negative")
            if getattr(reading, key) is not None
        ]
        estimates.append(carry(lambda *currents: sum(currents) / len(currents), *sizes))
        values = [size.value for size in sizes]
        if not sizes[0].meets(sizes[-1]) and max(values) - min(values) > _UNEQUAL * max(values):
            draft = draft.remarking(
                "supply-currents-unequal",
                f"{show(max(values) - min(values), 'A', digits=2)} flow from one rail and not into "
                "the other, so to ground: direct current into a load, or a leaking capacitor",
                number,
            )
    current = draft.sheet.agreed(estimates, "a supply current", "A")
    return draft.placing("amplifier.quiescent_current", current, "supply_current_a", "A")


def find_offset(draft: Draft) -> Draft:
    """What the offset readings tell.

    V = N (offset + bias |Rs - Rf || Rg|) (textbook).
    """
    readings = draft.sheet.of(Offset)
    if not readings:
        return draft
    numbers = tuple(number for number, _ in readings)
    draft.amplifier_for(numbers[0])
    reach = [direct_reach(draft, reading) for _, reading in readings]
    if reach[0][0] == 0.0:
        return draft.remarking(
            "offset-blocked",
            "a capacitor at the output blocks the direct voltage, so that this tells nothing of "
            'the amplifier\'s; read before the capacitor, and say at = "amplifier"',
            *numbers,
        )
    volts = [draft.sheet.value(number, "output") for number in numbers]
    apart = sorted(zip(reach, volts, strict=True), key=lambda pair: pair[0][1])
    (first, low), (last, high) = apart[0], apart[-1]
    if last[1] > first[1]:
        bias = carry(lambda a, b: (b - a) / (last[1] - first[1]), low, high)
        draft = draft.placing("amplifier.bias_current", bias, "bias_current_a", "A")
        estimates = [carry(lambda v, b, r=r: (v - b * r[1]) / r[0], v, bias) for r, v in apart]
        offset = draft.sheet.agreed(estimates, "an offset voltage", "V")
    else:
        draft, offset = _one_offset(draft, reach[0], draft.sheet.agreed(volts, "an offset", "V"))
    return draft.placing("amplifier.offset_voltage", offset, "offset_voltage_v", "V")


def direct_reach(draft: Draft, reading: Offset) -> tuple[float, float]:
    """What a volt of offset and an ampere of bias come to at the output."""
    ended = 0.0 if reading.source_resistance is None else reading.source_resistance.value
    circuit = on_bench(draft.stage, knob=draft.knob, ended_by_ohm=ended)
    transfer = 1.0
    if reading.at == "output":
        transfer = direct_path([*output_parts(circuit), *load_parts(circuit)], 1)[0][0]
    one, none = np.ones((1, 1)), np.zeros((1, 1))
    offset = float(_direct(circuit, offset_v=one, bias_a=none)[0]) * float(transfer)
    bias = float(_direct(circuit, offset_v=none, bias_a=one)[0]) * float(transfer)
    return offset, bias


def _direct(circuit: Circuit, **figures: Array) -> Array:
    device = replace(
        circuit.device,
        offset_voltage_v=figures["offset_v"],
        bias_current_a=figures["bias_a"],
    )
    return output_direct_v(replace(circuit, device=device))


def _one_offset(
    draft: Draft, reach: tuple[float, float], volts: Measured
) -> tuple[Draft, Measured]:
    """Offset from readings that do not tell bias current: the class's is taken for it."""
    amplifier = draft.stage.amplifier
    assert amplifier is not None
    known = device_figure(amplifier, "bias_current")
    gain, ohm = reach
    if known is None or ohm == 0.0 or not np.isfinite(ohm):
        return draft, carry(lambda v: v / gain, volts)
    sign = -1.0 if volts.value < 0.0 else 1.0
    bias = abs(known[1].value)
    if bias * ohm <= abs(volts.value):
        note = "less what the bias current that is usual for its class makes"
        draft = draft.remarking(
            "bias-current-assumed",
            f"the offset voltage is what is left {note}, {show(bias, 'A', digits=2)}; a second "
            "reading with another source_resistance would tell the two apart",
            *volts.readings,
        )
        return draft, carry(lambda v: (v - sign * bias * ohm) / gain, volts)
    found = carry(lambda v: abs(v) / ohm, volts)
    draft = draft.placing("amplifier.bias_current", found, "bias_current_a", "A", note=_ALL_BIAS)
    draft = draft.remarking(
        "bias-current-assumed",
        f"the bias current that is usual for its class, {show(bias, 'A', digits=2)}, would make "
        f"more than was read: all is put down to {show(found.value, 'A', digits=2)} of it; a "
        "second reading with another source_resistance would tell it from an offset voltage",
        *volts.readings,
    )
    return draft, exactly(0.0, found)
