"""Clipping: between what the output can move."""

from __future__ import annotations

import math

import numpy as np

from stagefx.bench.errors import ReadingsError
from stagefx.bench.readings.builder import Draft
from stagefx.bench.readings.conditions import on_bench, output_share
from stagefx.bench.readings.kinds import Clip, Rail
from stagefx.bench.readings.unit_mistakes import slip
from stagefx.bench.uncertainty import Measured, carry, exactly, stated
from stagefx.circuit.amplifier.small_signal import Amplifier
from stagefx.circuit.circuit import Circuit
from stagefx.circuit.dc import direct_path
from stagefx.circuit.limits import current_reach_v, stated_direct_v
from stagefx.circuit.network.ladder import laplace
from stagefx.circuit.network.placement import load_parts, output_parts
from stagefx.units import ROOT_TWO, show

_KILOHERTZ = np.array([1000.0])


def find_clipping(draft: Draft) -> Draft:
    """What the clip readings tell.

    Peaks are counted from 0 V as seen; at the amplifier they are larger by what its output
    resistance loses.  A largest clean sine tells the nearer of the two limits, and the loss to
    it is taken for both rails.
    """
    readings = draft.sheet.of(Clip)
    if not readings:
        return draft
    for number, _ in readings:
        draft.amplifier_for(number)
        if draft.stage.supply is None:
            raise ReadingsError(
                f"{draft.sheet.named(number)} needs the rails to tell what the device loses to "
                "them: a rail reading is missing"
            )
    light = _lighter(draft)
    draft = _losses(draft, [(n, r) for n, r in readings if n in light])
    for number, reading in readings:
        draft = _current(draft, number, reading, light=number in light)
    return draft


def _lighter(draft: Draft) -> tuple[int, ...]:
    """The readings with the lightest load."""
    readings = draft.sheet.of(Clip)
    lightest = max(_load_ohm(reading) for _, reading in readings)
    return tuple(number for number, reading in readings if _load_ohm(reading) == lightest)


def _load_ohm(reading: Clip) -> float:
    return math.inf if reading.load is None else reading.load.value


def clip_bench(draft: Draft, reading: Clip) -> Circuit:
    """The circuit that a clip reading was taken on."""
    load = None if reading.load is None else reading.load.value
    return on_bench(draft.stage, knob=draft.knob, load_ohm=load)


def direct_v(circuit: Circuit) -> tuple[float, float]:
    """The direct voltage of known sign, at the amplifier and at the load."""
    at_amplifier = float(stated_direct_v(circuit)[0, 0])
    transfer = direct_path([*output_parts(circuit), *load_parts(circuit)], 1)[0]
    return at_amplifier, at_amplifier * float(transfer[0])


def _losses(draft: Draft, readings: list[tuple[int, Clip]]) -> Draft:
    for side in ("high", "low"):
        estimates = [
            loss
            for number, reading in readings
            if (loss := _loss(draft, number, reading, side)) is not None
        ]
        if not estimates:
            continue
        loss = draft.sheet.agreed(estimates, f"a swing loss to the {side} rail", "V")
        draft = draft.placing(f"amplifier.swing_loss_{side}", loss, f"swing_loss_{side}_v", "V")
    return draft


def _peak(draft: Draft, number: int, reading: Clip, side: str) -> Measured | None:
    """A peak at the amplifier's output, counted from 0 V."""
    circuit = clip_bench(draft, reading)
    share, (own, seen) = output_share(circuit), direct_v(circuit)
    if getattr(reading, side) is not None:
        return carry(lambda v: (v - seen) / share + own, draft.sheet.value(number, side))
    if reading.output is None:
        return None
    sine = draft.sheet.value(number, "output")
    sign = 1.0 if side == "high" else -1.0
    high, low = (rail_for(draft, key) for key in ("positive", "negative"))
    nearer = min(high.value - own, own - low.value)
    beyond = (high.value - own if sign > 0.0 else own - low.value) - nearer
    return carry(lambda v: sign * (ROOT_TWO * v / share + beyond) + own, sine)


def rail_for(draft: Draft, key: str) -> Measured:
    """A rail, as it was read or else as it is described."""
    for found in draft.found:
        if found.part == f"supply.{key}":
            return found.measured
    assert draft.stage.supply is not None
    return stated(getattr(draft.stage.supply, key).value)


def _loss(draft: Draft, number: int, reading: Clip, side: str) -> Measured | None:
    peak = _peak(draft, number, reading, side)
    if peak is None:
        return None
    sign, rail = (1.0, "positive") if side == "high" else (-1.0, "negative")
    limit = rail_for(draft, rail)
    loss = carry(lambda v, p: sign * (v - p), limit, peak)
    if loss.high < 0.0:
        raise ReadingsError(_beyond(draft, number, peak, limit, rail))
    return exactly(0.0, loss) if loss.value < 0.0 else loss


def _beyond(draft: Draft, number: int, peak: Measured, limit: Measured, rail: str) -> str:
    others = [n for n, r in draft.sheet.of(Rail) if getattr(r, rail) is not None]
    against = f" and {draft.sheet.named(others[0])} contradict each other" if others else ""
    guess = slip(peak.value / limit.value, within=0.3) if limit.value else ""
    return (
        f"{draft.sheet.named(number)}{against}: a peak of {show(peak.value, 'V')} at the amplifier "
        f"is beyond its rail of {show(limit.value, 'V')}; "
        f"{guess or 'was the rail read under load, and is the probe right?'}"
    )


def _current(draft: Draft, number: int, reading: Clip, *, light: bool) -> Draft:
    """Output current, where it and not a rail ends the swing."""
    circuit = clip_bench(draft, reading)
    amplifier = Amplifier(circuit, laplace(_KILOHERTZ))
    siemens = float(np.abs(amplifier.load_admittance + amplifier.feedback_load)[0, 0])
    sides = []
    for side in ("high", "low"):
        peak, loss = _peak(draft, number, reading, side), _loss(draft, number, reading, side)
        if peak is not None and loss is not None:
            sides.append((carry(abs, peak), loss, _known_loss(draft, side)))
    if not light and any(loss.high < known.low for _, loss, known in sides):
        others = ", ".join(draft.sheet.named(n) for n in _lighter(draft))
        raise ReadingsError(
            f"{draft.sheet.named(number)} and {others} contradict each other: the output swings "
            f"further into {show(_load_ohm(reading), 'ohm')} than into a lighter load; read them "
            "again, or leave one of them out"
        )
    if not light and any(loss.low > known.high for _, loss, known in sides):
        current = carry(lambda *peaks: siemens * sum(peaks) / len(peaks), *(p for p, _, _ in sides))
        return draft.placing(
            "amplifier.output_current",
            current,
            "output_current_a",
            "A",
            note=f"into {show(_load_ohm(reading), 'ohm')}, before the rails are reached",
        )
    reach = current_reach_v(circuit)
    needed = max((peak.value for peak, _, _ in sides), default=0.0)
    if reach is None or float(reach[0, 0]) >= needed:
        return draft
    # a little more than was seen, so that the rails and not the current end the swing
    draft = draft.having("amplifier", output_current=f"{1.001 * needed * siemens!r} A")
    return draft.remarking(
        "more-current-than-its-class",
        f"{show(needed * siemens, 'A', digits=3)} peak into this load is more than is usual for "
        "the device's class; the stage has as much as was seen",
        number,
    )


def _known_loss(draft: Draft, side: str) -> Measured:
    for found in draft.found:
        if found.part == f"amplifier.swing_loss_{side}":
            return found.measured
    return stated(math.inf)
