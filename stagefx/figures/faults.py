"""Faults that paper shows: a closed list of rules, told before any talk of sound.

A fault is no flavour: it is something to be put right first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Self

import numpy as np

from stagefx.circuit.amplifier.stability import stability
from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.dc import coupling_unknown, output_direct_v, speaker_direct_v
from stagefx.circuit.limits import (
    current_reach_v,
    current_slope_v_per_s,
    limits,
    rail_swing_v,
)
from stagefx.circuit.response import Response
from stagefx.circuit.supply import ratings, reservoirs
from stagefx.circuit.supply.decoupling import decoupling
from stagefx.circuit.ultrasonic import HIGHEST_HEARD_HZ, ultrasonic_v_rms, ultrasonic_w
from stagefx.figures.cautions import caution_for
from stagefx.units import decibels, show

LOW_MARGIN_DEG = 45.0
"""Phase margin below this is little (common practice): a small step overshoots by a quarter."""
MOST_SPEAKER_DIRECT_V = 0.05
"""Direct voltage that a power amplifier may well have by itself (common practice)."""
MOST_TWEETER_W = 1.0
"""Continuous power that a tweeter's voice coil bears without question (working assumption)."""
UNITY_LOSS_DB = 1.0
"""What an amplifier that is meant to have a gain of 1 may lose around it (working assumption)."""
UNITY_GAIN = 1.05

_KILOHERTZ = np.array([1000.0])


class FaultRemark(str):
    """A fault among other remarks: a type of its own, told as its sentence after "Fault: "."""

    __slots__ = ("sentence",)
    sentence: str

    def __new__(cls, sentence: str) -> Self:
        """A remark of a sentence."""
        made = super().__new__(cls, f"Fault: {sentence}")
        made.sentence = sentence
        return made

    def __getnewargs__(self) -> tuple[str]:  # copies and other processes get the same
        return (self.sentence,)


@dataclass(frozen=True)
class Fault:
    """Something to be put right before sound is talked of."""

    code: str
    sentence: str
    caution: str

    @property
    def remark(self) -> FaultRemark:
        """The fault as it stands among other remarks."""
        return FaultRemark(self.sentence)


def faults_of(circuit: Circuit) -> tuple[Fault, ...]:
    """All faults of a circuit."""
    return tuple(
        Fault(code, sentence, caution_for(code))
        for code, rule in RULES.items()
        for sentence in rule(circuit)
    )


def _first(values: Array) -> float:
    return float(values.ravel()[0])


def _say(value: float, unit: str) -> str:
    return show(value, unit, digits=3)


def _oscillates(circuit: Circuit) -> Iterator[str]:
    tone, loop = circuit.stage.oscillation, stability(circuit)
    if tone is not None and tone.level.value > 0.0:
        yield (
            f"The amplifier's output oscillates: {_say(2.0 * tone.level.value, 'V')} p-p at "
            f"{_say(tone.frequency.value, 'Hz')}. That is a fault, not a sound."
        )
    if loop is not None and _first(loop.oscillates) > 0.0:
        past = -_first(loop.phase_margin_deg)
        yield (
            f"As described the amplifier must oscillate, near "
            f"{_say(_first(loop.crossover_hz), 'Hz')}"
            + (f": its loop is {past:.0f} deg past 180 where its gain is still one." * (past > 0.0))
        )


def _low_phase_margin(circuit: Circuit) -> Iterator[str]:
    loop = stability(circuit)
    if loop is not None and _first(loop.oscillates) == 0.0:
        margin = _first(loop.phase_margin_deg)
        if margin < LOW_MARGIN_DEG:
            yield (
                f"The loop keeps {margin:.1f} deg of phase margin where {LOW_MARGIN_DEG:g} deg is "
                f"the least: a small step overshoots by {_first(loop.overshoot_percent):.0f} %"
                f"{_ringing(_first(loop.ringing_hz))}. A resistor of 47 to 100 ohm in series with "
                "the output, or a few picofarad across the feedback resistor, usually cures it."
            )
    yield from _poorly_decoupled(circuit)


def _ringing(hz: float) -> str:
    return f" and rings at {_say(hz, 'Hz')}" if np.isfinite(hz) else ""


def _poorly_decoupled(circuit: Circuit) -> Iterator[str]:
    found = decoupling(circuit)
    if found is None or not (found.too_far or found.too_small):
        return
    speed = _say(found.speed_hz, "Hz")
    if found.capacitance_f == 0.0:
        why = f"nothing decouples the supply of a device of {speed}"
    elif found.too_far:
        why = (
            f"a device of {speed} is fast for a decoupling capacitor "
            f"{found.distance_m * 1e3:.0f} mm from its pins: that is about "
            f"{_say(found.inductance_h, 'H')} of track, {found.track_ohm:.1f} ohm at the device's "
            f"speed, and resonates with {_say(found.capacitance_f, 'F')} at "
            f"{_say(found.resonance_hz, 'Hz')}"
        )
    else:
        why = (
            f"{_say(found.capacitance_f, 'F')} is little decoupling for a device of {speed}: "
            f"{found.capacitor_ohm:.0f} ohm at its speed"
        )
    yield (
        f"Oscillation is likely: {why}. Only a scope shows it. The remedy is a ceramic capacitor "
        "of 100 nF from each rail to ground within 10 mm of the pins."
    )


def _ultrasonic_power(circuit: Circuit) -> Iterator[str]:
    tone, power, volts = circuit.stage.oscillation, ultrasonic_w(circuit), ultrasonic_v_rms(circuit)
    if tone is None or power is None or volts is None:
        return
    if tone.frequency.value > HIGHEST_HEARD_HZ and _first(power) > MOST_TWEETER_W:
        yield (
            f"The oscillation at {_say(tone.frequency.value, 'Hz')} puts "
            f"{_say(_first(power), 'W')} into each loudspeaker, {_say(_first(volts), 'V')} rms; "
            f"a tweeter bears about {MOST_TWEETER_W:g} W for long."
        )


def _direct_at_speaker(circuit: Circuit) -> Iterator[str]:
    if circuit.stage.amplifier is None:
        return
    at_speaker = speaker_direct_v(circuit)
    if at_speaker is None or not _first(at_speaker) > MOST_SPEAKER_DIRECT_V:
        return
    unknown = coupling_unknown(circuit)
    state = "; state [listening] amplifier_coupling" if unknown else ""
    if np.isinf(_first(at_speaker)):
        passes = (
            "a DC-coupled power amplifier would pass it to the loudspeaker (whether this one is "
            "DC-coupled is not stated)"
            if unknown
            else "the DC-coupled power amplifier passes it to the loudspeaker"
        )
        yield (
            f"Nothing leads the input's bias current to ground, so the output drifts to a rail and "
            f"{passes}; a resistor of 100 kohm or less from the input to ground cures it{state}."
        )
        return
    reaches = (
        f"If the power amplifier is DC-coupled, up to {_say(_first(at_speaker), 'V')} of direct "
        "voltage stand at the loudspeaker"
        if unknown
        else f"Up to {_say(_first(at_speaker), 'V')} of direct voltage stand at the loudspeaker"
    )
    through = "it" if unknown else "a DC-coupled power amplifier"
    yield (
        f"{reaches}: {_say(_first(output_direct_v(circuit)), 'V')} at the amplifier's output, "
        f"through {through}; {_say(MOST_SPEAKER_DIRECT_V, 'V')} is the most there should be{state}."
    )


def _above_maximum(circuit: Circuit) -> Iterator[str]:
    rails, most = circuit.supply, circuit.device.supply_maximum_v
    if rails is None or most is None:
        return
    between = _first(rails.positive_v - rails.negative_v)
    if between > 2.0 * _first(most):
        yield (
            f"There are {_say(between, 'V')} between the rails; the device stands "
            f"{_say(2.0 * _first(most), 'V')} at most."
        )


def _over_voltage(circuit: Circuit) -> Iterator[str]:
    stated = circuit.stage.supply
    if stated is None or stated.reservoir_rating is None or stated.secondary is None:
        return
    peak, rating = _first(ratings.reservoir_peak_v(circuit)), stated.reservoir_rating.value
    if peak > rating:
        yield (
            f"At high mains with nothing drawn a reservoir stands at {_say(peak, 'V')}; it is "
            f"rated {_say(rating, 'V')}."
        )


def _drops_out(circuit: Circuit) -> Iterator[str]:
    values = circuit.supply
    if values is None or not reservoirs.regulated(circuit):
        return
    needed = (values.secondary_v_rms, values.reservoir_f, values.load_current_a)
    if any(value is None for value in (*needed, values.mains_frequency_hz)):
        return
    margin, low = (
        _first(ratings.regulator_margin_v(circuit)),
        reservoirs.mains_tolerance(circuit),
    )
    if margin < 0.0:
        valley = _first(reservoirs.valley_v(circuit, mains=1.0 - low))
        where = f"At low mains (-{low:.0%})".replace("%", " %") if low > 0.0 else "In use"
        yield (
            f"{where} the reservoir falls to {_say(valley, 'V')}, {_say(-margin, 'V')} less than "
            "the regulator needs: it hums."
        )


def _clips_on_its_source(circuit: Circuit) -> Iterator[str]:
    level, found = circuit.source_v_rms, limits(circuit)
    if level is None or found is None or found.high_v is None or found.low_v is None:
        return
    gain = np.abs(Response(circuit, _KILOHERTZ).to_amplifier_output)
    asked = np.sqrt(2.0) * _first(level) * _first(gain)
    given = min(_first(found.high_v), -_first(found.low_v))
    if asked > given:
        over = "without end" if given == 0.0 else f"{decibels(asked / given):.1f} dB too much"
        yield (
            f"A full-scale source ({_say(_first(level), 'V')} rms) asks the amplifier for "
            f"{_say(asked, 'V')} peak, and it clips at {_say(given, 'V')}: {over}."
        )


def _current_limited(circuit: Circuit) -> Iterator[str]:
    current = circuit.device.output_current_a
    if circuit.stage.amplifier is None or current is None:
        return
    reach, swing = current_reach_v(circuit), rail_swing_v(circuit)
    if reach is not None and swing is not None:
        rails = min(_first(swing[0]), -_first(swing[1]))
        if _first(reach) < rails:
            yield (
                f"Into this load the device's {_say(_first(current), 'A')} end at "
                f"{_say(_first(reach), 'V')} peak, before its rails do at {_say(rails, 'V')}."
            )
    slope, slew = current_slope_v_per_s(circuit), circuit.device.slew_rise_v_per_s
    if slope is not None and slew is not None and _first(slope) < _first(slew):
        yield (
            f"The device's {_say(_first(current), 'A')} charge the capacitance on its output at "
            f"{_say(_first(slope), 'V/s')}, where the device alone does {_say(_first(slew), 'V/s')}"
            "; a resistor of 47 to 100 ohm in series with the output keeps them apart."
        )


def _gain_below_one(circuit: Circuit) -> Iterator[str]:
    highest = Response(circuit.at_position(1.0), _KILOHERTZ)
    if highest.amplifier is None:
        return
    own, gain = _first(np.abs(highest.amplifier.ideal_gain)), _first(np.abs(highest.to_load))
    least = 10.0 ** (-UNITY_LOSS_DB / 20.0) if own <= UNITY_GAIN else 1.0
    if gain < least:
        yield (
            f"From source to load the gain is {gain:.3g} at most ({decibels(gain):.1f} dB), "
            f"although the amplifier's own is {own:.3g}: more is lost around it than it gives."
        )


RULES: dict[str, Callable[[Circuit], Iterator[str]]] = {
    "oscillates": _oscillates,
    "low-phase-margin": _low_phase_margin,
    "ultrasonic-power-in-tweeter": _ultrasonic_power,
    "dc-at-speaker": _direct_at_speaker,
    "supply-above-maximum": _above_maximum,
    "part-over-voltage": _over_voltage,
    "regulator-drops-out": _drops_out,
    "clips-on-its-source": _clips_on_its_source,
    "output-current-limited": _current_limited,
    "gain-below-one": _gain_below_one,
}
"""The closed list: every fault's code and its rule, what must be put right first coming first."""
