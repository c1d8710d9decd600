"""What a figure on paper means: beside what is needed, what is usual, or what may be heard.

Where no source is named, a yardstick is common practice.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from stagefx.circuit.description.stage import Stage
from stagefx.circuit.knob import ASSUMED_PROGRAMME_DB
from stagefx.figures.table import Figures
from stagefx.report.text.numbers import amount, times
from stagefx.units import decibels, ratio

TOP_OF_HEARING_HZ = 20_000.0
BOTTOM_OF_HEARING_HZ = 20.0
SIXTEEN_BIT_DB = 93.3
"""Full-scale sine over the noise of 16 bits with triangular dither (textbook arithmetic)."""
CALM_MARGIN_DEG, NERVOUS_MARGIN_DEG = 60.0, 45.0
FINE_DIRECT_V, BLOCKED_DIRECT_V = 10e-3, 50e-3
WARM_REGULATOR_W = 1.0


@dataclass(frozen=True)
class Sheet:
    """Figures on paper, by key, as plain numbers."""

    figures: Figures

    def __getitem__(self, key: str) -> float | None:
        """The value; None where there is none."""
        found = self.figures.figures.get(key)
        return None if found is None else found.value

    @property
    def stage(self) -> Stage:
        """The stage itself."""
        return self.figures.stage


Says = Callable[[Sheet, float], str]


def yardstick(key: str, figures: Figures) -> str:
    """What a figure means, in a few words."""
    sheet = Sheet(figures)
    value = sheet[key]
    if value is None:
        return figures.figures[key].reason
    return _SAYINGS[key](sheet, value) if key in _SAYINGS else ""


# --- level and loading ---


def _gain(_sheet: Sheet, gain_db: float) -> str:
    return f"the voltage times {ratio(gain_db):.3g}"


def _gain_maximum(sheet: Sheet, gain_db: float) -> str:
    here = sheet["gain_db"]
    more = gain_db - here if here is not None else 0.0
    return f"{amount(more, 'dB')} more than here" if more >= 0.05 else "the knob is at its maximum"


def _sensitivity(sheet: Sheet, needed_v: float) -> str:
    level = sheet.stage.source.level
    if level is None:
        return ""
    enough = "" if level.value >= needed_v else ": too little"
    return f"the source gives {amount(level.value, 'V')}{enough}"


def _travel(_sheet: Sheet, _share: float) -> str:
    return "of its travel, for full scale"


def _programme(_sheet: Sheet, _level_db: float) -> str:
    return f"taken at {ASSUMED_PROGRAMME_DB:.0f} LUFS"


def _input_impedance(sheet: Sheet, impedance_ohm: float) -> str:
    source = sheet.stage.source.resistance.value
    return f"{times(impedance_ohm / source)} the source's" if source > 0.0 else ""


def _output_impedance(sheet: Sheet, impedance_ohm: float) -> str:
    stage = sheet.stage
    hanging = 0.0 if stage.output_cable is None else stage.output_cable.total.value
    if stage.load is not None and stage.load.capacitance is not None:
        hanging += stage.load.capacitance.value
    if hanging == 0.0 or impedance_ohm == 0.0:
        return ""
    corner = 1.0 / (2.0 * math.pi * impedance_ohm * hanging)
    return f"{amount(hanging, 'F')} after it: corner {amount(corner, 'Hz')}"


def _loss(_sheet: Sheet, loss_db: float) -> str:
    return "next to nothing" if loss_db > -0.1 else "a matter of level; tone is under response"


def _wiper(sheet: Sheet, _resistance_ohm: float) -> str:
    volume = sheet.stage.volume
    if volume is None or volume.place == "after":
        return ""
    most = (volume.resistance.value + sheet.stage.source.resistance.value) / 4.0
    return f"at most {amount(most, 'ohm')}, at half volts"


# --- response and speed ---


def _low_corner(_sheet: Sheet, corner_hz: float) -> str:
    if corner_hz == 0.0:
        return "reaches 0 Hz"
    if corner_hz >= BOTTOM_OF_HEARING_HZ:
        return "inside the audio band"
    return f"{times(BOTTOM_OF_HEARING_HZ / corner_hz)} below 20 Hz"


def _above_the_band(_sheet: Sheet, corner_hz: float) -> str:
    if corner_hz < TOP_OF_HEARING_HZ:
        return "inside the audio band"
    return f"{times(corner_hz / TOP_OF_HEARING_HZ)} 20 kHz"


def _may_be_heard_from(limit_db: float) -> Says:
    def says(_sheet: Sheet, level_db: float) -> str:
        reached = "may be heard: the limit is" if abs(level_db) >= limit_db else "may be heard from"
        return f"{reached} {limit_db:g} dB"

    return says


def _at_20_khz(_sheet: Sheet, level_db: float) -> str:
    within = "should not be heard" if abs(level_db) <= 0.5 else "look at 10 kHz as well"
    return f"0.5 dB here alone {within}" if abs(level_db) <= 0.5 else within


def _phase(_sheet: Sheet, _phase_deg: float) -> str:
    return "a loudspeaker adds 100 deg and more"


def _slew(sheet: Sheet, available: float) -> str:
    needed = sheet["slew_needed_v_per_us"]
    if needed is None or needed == 0.0:
        return ""
    has = f"needs {needed:.2g}, has {available:.3g}"
    if available >= needed:
        return f"{has}: {times(available / needed)} to spare"
    return f"{has}: too slow for full scale at 20 kHz"


def _full_power(_sheet: Sheet, corner_hz: float) -> str:
    if corner_hz < TOP_OF_HEARING_HZ:
        return "below 20 kHz: the largest treble slews"
    return f"{times(corner_hz / TOP_OF_HEARING_HZ)} 20 kHz"


def _phase_margin(_sheet: Sheet, margin_deg: float) -> str:
    if margin_deg >= CALM_MARGIN_DEG:
        return f"calm: {CALM_MARGIN_DEG:g} deg and more"
    if margin_deg >= NERVOUS_MARGIN_DEG:
        return f"rings a little: below {CALM_MARGIN_DEG:g} deg"
    return f"rings: below {NERVOUS_MARGIN_DEG:g} deg" if margin_deg > 0.0 else "oscillates"


def _overshoot(_sheet: Sheet, percent: float) -> str:
    return "none to speak of" if percent < 5.0 else "of a small step; far above hearing"


def _peaking(_sheet: Sheet, peak_db: float) -> str:
    return "" if peak_db < 0.1 else "far above hearing; a sign of a small margin"


# --- headroom and noise ---


def _under_the_rail(side: str) -> Says:
    def says(sheet: Sheet, clip_v: float) -> str:
        supply = sheet.stage.supply
        if supply is None:
            return ""
        rail = supply.positive.value if side == "high" else supply.negative.value
        return f"{amount(abs(rail - clip_v), 'V')} inside the {rail:+.3g} V rail"

    return says


def _maximum_output(sheet: Sheet, output_v: float) -> str:
    chain = sheet.stage.listening
    if chain is None or chain.rated_power is None or chain.speaker_impedance is None:
        return ""
    needed = math.sqrt(chain.rated_power.value * chain.speaker_impedance.value)
    needed /= chain.amplifier_gain
    enough = "" if output_v >= needed else ": too little"
    return f"rated power takes {amount(needed, 'V')}{enough}"


def _headroom(_sheet: Sheet, headroom_db: float) -> str:
    if headroom_db >= 0.0:
        return "to spare over a full-scale source"
    return f"clips {amount(-headroom_db, 'dB')} before full scale"


def _largest_contributor(sheet: Sheet, noise_v: float) -> str:
    if noise_v == 0.0:
        return "nothing makes noise"
    name, _, share = sheet.figures.noise_budget[0]
    return f"most of it: {name}, {share:.0%}".replace("%", " %")


def _worst_knob(sheet: Sheet, worst_v: float) -> str:
    here = sheet["noise_20k_v_rms"]
    if here is None or here == 0.0:
        return ""
    more = decibels(worst_v / here)
    return f"{amount(more, 'dB')} more than here" if more >= 0.05 else "it is at its worst here"


def _signal_to_noise(_sheet: Sheet, level_db: float) -> str:
    apart = level_db - SIXTEEN_BIT_DB
    word = "more" if apart >= 0.0 else "less"
    return f"{amount(abs(apart), 'dB')} {word} than 16-bit audio"


def _against_the_room(sheet: Sheet, level_db: float) -> str:
    chain = sheet.stage.listening
    if chain is None or chain.room_noise is None:
        return "a quiet room at night has 25 to 30 dBA"
    room = chain.room_noise.value
    word = "under" if level_db <= room else "over"
    return f"{amount(abs(room - level_db), 'dB')} {word} the room's {room:g} dBA"


# --- supply and direct current ---


def _regulator_margin(_sheet: Sheet, margin_v: float) -> str:
    return "must stay above 0 V" if margin_v > 0.0 else "drops out at low mains: it hums"


def _reservoir_peak(sheet: Sheet, peak_v: float) -> str:
    supply = sheet.stage.supply
    if supply is None or supply.reservoir_rating is None:
        return ""
    rating = supply.reservoir_rating.value
    word = "to spare" if rating >= peak_v else "too much"
    return f"rated {amount(rating, 'V')}: {amount(abs(rating - peak_v), 'V')} {word}"


def _regulator_heat(_sheet: Sheet, heat_w: float) -> str:
    return "no heat sink needed" if heat_w < WARM_REGULATOR_W else "wants a heat sink"


def _ripple_left(sheet: Sheet, ripple_v: float) -> str:
    noise = sheet["noise_20k_v_rms"]
    if not noise or ripple_v <= 0.0:
        return ""
    under = decibels(noise / ripple_v)
    return f"{amount(abs(under), 'dB')} {'under' if under >= 0.0 else 'over'} the noise"


def _direct(sheet: Sheet, direct_v: float) -> str:
    if direct_v <= FINE_DIRECT_V:
        return "fine: at most 10 mV"
    if sheet.stage.output is not None and sheet.stage.output.coupling is not None:
        return "held back by the output capacitor"
    if direct_v <= BLOCKED_DIRECT_V:
        return "fine where the power amplifier blocks it"
    return "more than 50 mV: find out why"


def _speaker_direct(sheet: Sheet, direct_v: float) -> str:
    chain = sheet.stage.listening
    unknown = chain is not None and chain.amplifier_coupling is None
    said = "fine: at most 50 mV" if direct_v <= BLOCKED_DIRECT_V else "more than 50 mV: block it"
    return f"{said}; none if the amplifier is AC-coupled" if unknown else said


_SAYINGS: dict[str, Says] = {
    "gain_db": _gain,
    "gain_maximum_db": _gain_maximum,
    "sensitivity_v_rms": _sensitivity,
    "knob_at_rated_power": _travel,
    "programme_spl_db": _programme,
    "input_impedance_ohm": _input_impedance,
    "output_impedance_ohm": _output_impedance,
    "source_loss_db": _loss,
    "load_loss_db": _loss,
    "wiper_resistance_ohm": _wiper,
    "low_corner_hz": _low_corner,
    "high_corner_hz": _above_the_band,
    "high_half_db_hz": _above_the_band,
    "response_20_hz_db": _may_be_heard_from(0.5),
    "response_10_khz_db": _may_be_heard_from(1.0),
    "response_20_khz_db": _at_20_khz,
    "phase_20_hz_deg": _phase,
    "closed_loop_bandwidth_hz": _above_the_band,
    "slew_available_v_per_us": _slew,
    "full_power_bandwidth_hz": _full_power,
    "phase_margin_deg": _phase_margin,
    "overshoot_percent": _overshoot,
    "peaking_db": _peaking,
    "clip_high_v": _under_the_rail("high"),
    "clip_low_v": _under_the_rail("low"),
    "maximum_output_v_rms": _maximum_output,
    "source_headroom_db": _headroom,
    "noise_20k_v_rms": _largest_contributor,
    "noise_worst_knob_20k_v_rms": _worst_knob,
    "signal_to_noise_db": _signal_to_noise,
    "signal_to_noise_2v_db": _signal_to_noise,
    "noise_spl_seat_a_db": _against_the_room,
    "regulator_margin_v": _regulator_margin,
    "reservoir_peak_v": _reservoir_peak,
    "regulator_heat_w": _regulator_heat,
    "ripple_at_load_v_rms": _ripple_left,
    "output_dc_v": _direct,
    "speaker_dc_v": _speaker_direct,
}
