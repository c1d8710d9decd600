"""Gain: what the amplifier makes of what reaches it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from stagefx.bench.errors import ReadingsError
from stagefx.bench.readings.builder import Draft
from stagefx.bench.readings.conditions import gain_of, on_bench
from stagefx.bench.readings.kinds import Gain
from stagefx.bench.readings.solving import solve_for
from stagefx.bench.readings.unit_mistakes import slip, slip_code
from stagefx.bench.uncertainty import Measured, carry, exactly, rounded
from stagefx.circuit.circuit import Circuit
from stagefx.units import decibels

_NEW = 1.0
"""Gain of an amplifier of which nothing is known yet."""


def find_gain(draft: Draft) -> Draft:
    """What the gain readings tell."""
    readings = draft.sheet.of(Gain)
    if not readings:
        return draft
    draft = _with_amplifier(draft)
    for number, reading in readings:
        draft = _remarked(draft, number, reading)
    if draft.stage.amplifier is None or draft.stage.amplifier.topology == "follower":
        return _checked(draft, readings)
    estimates = [_amplifier_gain(draft, number, reading) for number, reading in readings]
    gain = draft.sheet.agreed(estimates, "an amplifier gain", "")
    draft = _placed(draft, gain)
    level = carry(decibels, gain)
    return draft.reporting("amplifier_gain_db", level, "dB", note="the amplifier alone")


def _with_amplifier(draft: Draft) -> Draft:
    if draft.stage.amplifier is not None or draft.described:
        return draft
    wanted = draft.sheet.readings
    if wanted.topology == "follower":
        return draft.having("amplifier", topology="follower", device=wanted.device)
    return draft.having(
        "amplifier", topology=wanted.topology or "non-inverting", device=wanted.device, gain=_NEW
    )


def _ratio(draft: Draft, number: int) -> Measured:
    volts = draft.sheet.value(number, "output"), draft.sheet.value(number, "input")
    return carry(lambda output, given: output / given, *volts)


def _bench(draft: Draft, reading: Gain) -> Circuit:
    load = None if reading.load is None else reading.load.value
    return on_bench(draft.stage, knob=draft.knob, load_ohm=load)


def with_gain(circuit: Circuit, gain: float) -> Circuit:
    """A circuit whose amplifier has another gain."""
    if circuit.gain is not None:
        return replace(circuit, gain=np.array([[gain]]))
    assert circuit.gain_leg_ohm is not None
    return replace(circuit, feedback_ohm=circuit.gain_leg_ohm * (gain - _one(circuit)))


def _one(circuit: Circuit) -> float:
    """What the feedback pair's ratio must be added to for the gain."""
    amplifier = circuit.stage.amplifier
    return 0.0 if amplifier is not None and amplifier.topology == "inverting" else 1.0


def _amplifier_gain(draft: Draft, number: int, reading: Gain) -> Measured:
    circuit, hz = _bench(draft, reading), reading.frequency.value
    ratio = _ratio(draft, number)
    least = _one(circuit)
    before = gain_of(with_gain(circuit, 1.0), hz)
    if least and ratio.high < before * (1.0 - 1e-9):
        guess = slip(ratio.value / before)
        raise ReadingsError(
            f"{draft.sheet.named(number)}: {ratio.value:.4g} is below the {before:.4g} that reach "
            "the amplifier and the load, and a non-inverting gain is at least 1"
            f'{f"; {guess}" if guess else ""}; if it inverts, say topology = "inverting"'
        )

    def amplifier_gain(wanted: float) -> float:
        # the part above 1, so that the search may come as near to 1 as it likes
        found = solve_for(
            lambda more: gain_of(with_gain(circuit, least + more), hz), wanted, wanted / before
        )
        return wanted / before if math.isnan(found) else least + found

    return carry(amplifier_gain, ratio)


def _placed(draft: Draft, gain: Measured) -> Draft:
    amplifier = draft.stage.amplifier
    assert amplifier is not None
    if amplifier.gain is None:
        assert amplifier.gain_resistance is not None
        leg, one = (
            amplifier.gain_resistance.value,
            0.0 if amplifier.topology == "inverting" else 1.0,
        )
        resistance = carry(lambda g: max(leg * (g - one), 0.0), gain)
        return draft.placing(
            "amplifier.feedback_resistance", resistance, "feedback_resistance_ohm", "ohm",
            note="with gain_resistance as described",
        )  # fmt: skip
    if amplifier.topology == "non-inverting" and gain.value < 1.0:
        gain = exactly(1.0, gain)
    value = rounded(gain.value, gain.uncertainty)
    if amplifier.topology == "non-inverting":
        value = max(value, 1.0)
    return draft.having("amplifier", gain=value).reporting(
        "amplifier_gain", gain, "", part="amplifier.gain"
    )


def _checked(draft: Draft, readings: list[tuple[int, Gain]]) -> Draft:
    """Where nothing of the stage can be adjusted, it must give what was read."""
    for number, reading in readings:
        ratio, given = (
            _ratio(draft, number),
            gain_of(_bench(draft, reading), reading.frequency.value),
        )
        if not ratio.low <= given * (1.0 + 1e-9) or not ratio.high >= given * (1.0 - 1e-9):
            guess = slip(ratio.value / given)
            what = "a follower" if draft.stage.amplifier is not None else "the stage described"
            raise ReadingsError(
                f"{draft.sheet.named(number)}: a gain of {ratio.value:.4g} ({ratio.low:.4g} to "
                f"{ratio.high:.4g}), but {what} gives {given:.4g} with the knob at {draft.knob:g}; "
                f"{guess or 'check the knob, the load and the reading'}"
            )
        draft = draft.reporting("gain_db", carry(decibels, ratio), "dB", note="at the output")
    return draft


def _remarked(draft: Draft, number: int, reading: Gain) -> Draft:
    """Whether it is the gain described, but for a slip."""
    if not draft.described:
        return draft
    given = gain_of(_bench(draft, reading), reading.frequency.value)
    ratio = _ratio(draft, number).value
    code = slip_code(ratio / given) if given > 0.0 else ""
    if not code:
        return draft
    return draft.remarking(
        code,
        f"a gain of {ratio:.4g} where the stage described gives {given:.4g}: {slip(ratio / given)}",
        number,
    )
