"""Slewing: how fast the output can move."""

from __future__ import annotations

from stagefx.bench.readings.builder import Draft
from stagefx.bench.readings.closed_forms.square_waves import steepest_slope_v_per_s
from stagefx.bench.readings.conditions import on_bench, output_share
from stagefx.bench.readings.kinds import Slew
from stagefx.bench.uncertainty import carry
from stagefx.units import show

_MOSTLY_CORNER = 0.5


def find_slew(draft: Draft) -> Draft:
    """What the slew readings tell."""
    readings = draft.sheet.of(Slew)
    if not readings:
        return draft
    draft.amplifier_for(readings[0][0])
    share = output_share(on_bench(draft.stage, knob=draft.knob))
    for key in ("rise", "fall"):
        numbers = [number for number, reading in readings if getattr(reading, key) is not None]
        if not numbers:
            continue
        estimates = [
            carry(lambda v: 1e-6 * v / share, draft.sheet.value(number, key)) for number in numbers
        ]
        slew = draft.sheet.agreed(estimates, f"a slew rate ({key})", "V/us")
        part = f"amplifier.slew_{key}"
        draft = draft.placing(part, slew, f"slew_{key}_v_per_us", "V/us", size=1e6)
    for number, reading in readings:
        draft = _corner_limited(draft, number, reading)
    return draft


def _corner_limited(draft: Draft, number: int, reading: Slew) -> Draft:
    corner = next((one for one in draft.found if one.key == "high_corner_hz"), None)
    if corner is None or reading.step is None:
        return draft
    steepest = steepest_slope_v_per_s(reading.step.value, corner.value)
    seen = max(
        draft.sheet.value(number, key).value
        for key in ("rise", "fall")
        if getattr(reading, key) is not None
    )
    if seen < _MOSTLY_CORNER * steepest:
        return draft
    return draft.remarking(
        "slope-of-the-corner",
        f"through a corner of {show(corner.value, 'Hz', digits=3)} a step of "
        f"{show(reading.step.value, 'V')} is never steeper than {show(steepest, 'V/s')}: this "
        "slope may be the corner's, and the slew rate more; read it with a larger step",
        number,
    )
