"""What people who build and buy small line stages ask, answered on paper.

Each answer is worked out from the reference stage, or from the case the question is about, and
compared with the number that textbook circuit theory and common practice give, to the digits in
which it is usually told.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from stagefx.circuit.description.files import stage_from
from stagefx.errors import StageError
from stagefx.figures.table import Figures, compute_figures
from tests.published.worked import agrees

PAIR = {"feedback_resistance": "10 kohm", "gain_resistance": "3.3 kohm"}
CHAIN: dict[str, Any] = {
    "amplifier_gain": 27,
    "rated_power": "50 W",
    "speaker_impedance": "8 ohm",
    "speaker_sensitivity": "87 dB",
    "distance": "3 m",
    "speakers": 2,
}
RAILS = {"positive": "15 V", "negative": "-15 V"}
LOSSES = {"swing_loss_high": "1.5 V", "swing_loss_low": "1.5 V"}
GENERAL_PURPOSE = {"voltage_noise": "5 nV/rtHz", "current_noise": "0.7 pA/rtHz"}
FET = {"voltage_noise": "8 nV/rtHz", "current_noise": "1 fA/rtHz"}
FAST = {"voltage_noise": "3 nV/rtHz", "current_noise": "1.6 pA/rtHz"}
REFERENCE: dict[str, Any] = {
    "source": {"level": "2 V rms"},
    "volume": {"resistance": "10 kohm", "taper": "audio 15 %"},
    "amplifier": PAIR | LOSSES | GENERAL_PURPOSE,
    "supply": RAILS,
    "listening": CHAIN,
}


def answer(tables: dict[str, Any], **changed: Any) -> Figures:
    return compute_figures(stage_from(tables | changed))


def number(found: Figures, key: str) -> float:
    value = found.figures[key].value
    assert value is not None, f"{key}: {found.figures[key].reason}"
    return value


def codes(found: Figures) -> list[str]:
    return [fault.code for fault in found.faults]


def half_volts(resistance: str) -> dict[str, Any]:
    return {"resistance": resistance, "position": 0.5}


# --- devices ---


def test_does_gain_bandwidth_matter_here() -> None:
    four = answer(REFERENCE, amplifier=PAIR | {"gain_bandwidth": "10 MHz"})
    assert number(four, "closed_loop_bandwidth_hz") == pytest.approx(2.481e6, abs=500.0)
    assert agrees(number(four, "response_20_khz_db"), "-0.00028")
    eleven = answer(REFERENCE, amplifier={"gain": 11, "gain_bandwidth": "1 MHz"})
    # re 1 kHz, where 0.0005 dB are gone already
    assert number(eleven, "response_20_khz_db") == pytest.approx(-0.2053, abs=6e-4)


def test_which_device_is_quietest() -> None:
    def noise(device: dict[str, str], resistance: str) -> float:
        found = answer(REFERENCE, volume=half_volts(resistance), amplifier=PAIR | device)
        return number(found, "noise_20k_v_rms") * 1e6

    at_10k = [noise(device, "10 kohm") for device in (GENERAL_PURPOSE, FET, FAST)]
    assert max(at_10k) / min(at_10k) < 10.0 ** (1.2 / 20.0)
    assert agrees(noise(FAST, "50 kohm"), "14.77")
    assert agrees(noise(FET, "50 kohm"), "10.05")
    # with the knob at zero the order is the other way round
    shorted = {"resistance": "50 kohm", "position": 0.0}
    quiet = [
        number(answer(REFERENCE, volume=shorted, amplifier=PAIR | device), "noise_20k_v_rms")
        for device in (FAST, FET)
    ]
    assert quiet[0] < quiet[1]


# --- stability and cables ---


def test_are_100_nf_at_the_pins_needed() -> None:
    fast = PAIR | {"gain_bandwidth": "55 MHz", "second_pole": "90 MHz"}
    slow = PAIR | {"gain_bandwidth": "1 MHz"}

    def at(distance: str, amplifier: dict[str, str]) -> Figures:
        decoupled = RAILS | {"decoupling": "100 nF", "decoupling_distance": distance}
        return answer(REFERENCE, supply=decoupled, amplifier=amplifier)

    assert codes(at("80 mm", fast)) == ["low-phase-margin"]
    assert "Only a scope shows it" in at("80 mm", fast).faults[0].sentence
    assert codes(at("10 mm", fast)) == []
    assert codes(at("80 mm", slow)) == []  # "it works without", until a fast one is fitted


def test_is_a_quarter_of_overshoot_dangerous() -> None:
    amplifier = {
        "topology": "follower",
        "gain_bandwidth": "3.18 MHz",
        "second_pole": f"{3.18 * 4.0 * 0.403713**2:.12g} MHz",
    }
    found = answer({}, amplifier=amplifier)
    assert agrees(number(found, "overshoot_percent"), "25.0")
    assert agrees(number(found, "phase_margin_deg"), "43.5")
    assert agrees(number(found, "peaking_db"), "2.63")
    assert codes(found) == ["low-phase-margin"]


def test_does_a_cable_upset_the_device() -> None:
    amplifier = {
        "topology": "follower",
        "gain_bandwidth": "10 MHz",
        "open_loop_output_resistance": "100 ohm",
    }
    cable = {"length": "10 m", "capacitance_per_metre": "100 pF/m"}
    bare = answer({}, amplifier=amplifier, output_cable=cable)
    assert agrees(number(bare, "phase_margin_deg"), "22.5")
    assert number(bare, "overshoot_percent") == pytest.approx(53.0, abs=0.5)
    assert codes(bare) == ["low-phase-margin"]
    eased = answer({}, amplifier=amplifier, output={"resistance": "47 ohm"}, output_cable=cable)
    assert agrees(number(eased, "phase_margin_deg"), "65.0")
    assert codes(eased) == []


def test_how_long_can_the_cable_be() -> None:
    ten_metres = {"output_cable": {"length": "10 m", "capacitance_per_metre": "100 pF/m"}}
    driven = answer(ten_metres, amplifier=PAIR, output={"resistance": "100 ohm"})
    assert agrees(number(driven, "response_20_khz_db"), "-0.0007")
    passive = answer(ten_metres, volume=half_volts("50 kohm"))
    assert number(passive, "response_20_khz_db") < -5.0


def test_an_oscillation_that_cannot_be_heard() -> None:
    chain = CHAIN | {"amplifier_bandwidth": "100 kHz"}

    def tone(level: str, frequency: str) -> Figures:
        return answer({}, oscillation={"level": level, "frequency": frequency}, listening=chain)

    small, large = tone("0.6 V p-p", "1.8 MHz"), tone("6 V p-p", "200 kHz")
    assert number(small, "ultrasonic_w") == pytest.approx(0.013, abs=5e-4)
    assert codes(small) == ["oscillates"]
    assert number(large, "ultrasonic_w") == pytest.approx(82.0, abs=0.5)
    assert codes(large) == ["oscillates", "ultrasonic-power-in-tweeter"]
    assert "unplug the loudspeakers" in large.faults[1].caution


# --- source, control, loading ---


def test_is_a_preamplifier_needed() -> None:
    direct = answer({"source": {"level": "2 V rms"}, "listening": CHAIN})
    assert agrees(number(direct, "sensitivity_v_rms"), "0.7407")
    assert agrees(number(direct, "source_over_sensitivity_db"), "8.63")


def test_why_a_passive_control_sounds_dull() -> None:
    def passive(resistance: str, hanging: str, position: float = 0.5) -> Figures:
        volume = {"resistance": resistance, "position": position}
        return answer({}, volume=volume, output_cable={"capacitance": hanging})

    # losses count from 0 Hz; the figure counts from 1 kHz, 0.002 dB down with the first
    assert number(passive("50 kohm", "300 pF"), "response_20_khz_db") == pytest.approx(
        -0.871, abs=3e-3
    )
    dull = passive("50 kohm", "520 pF")
    assert number(dull, "response_20_khz_db") == pytest.approx(-2.22, abs=8e-3)
    assert number(dull, "response_10_khz_db") == pytest.approx(-0.67, abs=8e-3)
    assert agrees(number(passive("10 kohm", "300 pF"), "response_20_khz_db"), "-0.038")
    # dullest at half volts, not turned right down
    assert number(passive("50 kohm", "300 pF", 0.05), "response_20_khz_db") > -0.1


def test_control_before_or_after_the_device() -> None:
    amplifier = {"gain": 11} | LOSSES | GENERAL_PURPOSE
    volume = {"resistance": "10 kohm", "position": 0.1}
    before = answer(REFERENCE, amplifier=amplifier, volume=volume)
    after = answer(REFERENCE, amplifier=amplifier, volume=volume | {"place": "after"})
    assert number(after, "noise_20k_v_rms") < number(before, "noise_20k_v_rms") / 4.0
    assert codes(before) == []
    assert codes(after) == ["clips-on-its-source"]
    assert number(before, "output_impedance_ohm") < 1.0
    assert number(after, "output_impedance_ohm") == pytest.approx(900.0, rel=1e-3)


def test_which_control_value() -> None:
    source = {"level": "2 V rms", "resistance": "600 ohm"}
    bias = PAIR | {"bias_current": "200 nA"} | GENERAL_PURPOSE
    found = [
        answer(
            REFERENCE,
            source=source,
            volume=half_volts(resistance),
            amplifier=bias,
            input={"capacitance": "300 pF"},
        )
        for resistance in ("10 kohm", "50 kohm", "100 kohm")
    ]
    loss, treble, noise, direct = (
        [number(one, key) for one in found]
        for key in ("source_loss_db", "response_20_khz_db", "noise_20k_v_rms", "output_dc_v")
    )
    assert loss[0] == pytest.approx(-0.506, abs=5e-4)
    assert loss[0] < loss[1] < loss[2]  # the source is loaded less and less
    assert treble[0] > treble[1] > treble[2]  # and all else is worse
    assert noise[0] < noise[1] < noise[2]
    assert direct[0] < direct[1] < direct[2]


def test_is_ten_to_one_enough() -> None:
    found = answer({"source": {"resistance": "1 kohm"}, "load": {"resistance": "10 kohm"}})
    assert agrees(number(found, "gain_db"), "-0.828")
    for key in ("response_20_hz_db", "response_20_khz_db"):
        assert number(found, key) == pytest.approx(0.0, abs=1e-12)  # a level, not a tone
    moved = [
        number(
            answer({"source": {"resistance": "600 ohm"}, "load": {"resistance": load}}), "gain_db"
        )
        for load in ("10 kohm", "47 kohm")
    ]
    assert agrees(moved[1] - moved[0], "0.396")


def test_is_one_channel_louder() -> None:
    def gang(resistance: str, load: str) -> float:
        found = answer({}, volume=half_volts(resistance), load={"resistance": load})
        return number(found, "gain_db")

    assert agrees(gang("10 kohm", "3.3 kohm") - gang("12 kohm", "3.3 kohm"), "0.718")
    assert agrees(gang("10 kohm", "47 kohm") - gang("12 kohm", "47 kohm"), "0.087")
    audio = {"resistance": "10 kohm", "taper": "audio 15 %"}
    angles = [
        number(answer({}, volume=audio | {"position": position}), "gain_db")
        for position in (0.1, 0.11)  # 3 degrees of 300
    ]
    assert agrees(angles[1] - angles[0], "0.828")


def test_does_the_source_s_impedance_matter() -> None:
    source = {"resistance": "49.318 ohm"}
    heavy = answer({"source": source, "load": {"resistance": "1 kohm"}})
    assert agrees(10.0 ** (number(heavy, "load_loss_db") / 20.0), "0.953")
    light = answer({"source": source, "load": {"resistance": "10 kohm"}})
    assert agrees(10.0 ** (number(light, "load_loss_db") / 20.0), "0.995")  # too light to tell
    assert agrees(number(heavy, "output_impedance_ohm"), "49.318")
    # a source's own output capacitor raises it in the bass alone: a tone, not a level
    coupled = answer({"source": source | {"coupling": "1 uF"}, "load": {"resistance": "10 kohm"}})
    assert number(coupled, "response_20_hz_db") < -2.0


# --- coupling capacitors ---


@pytest.mark.parametrize(
    ("capacitor", "corner_hz", "at_20_hz_db"),
    [("10 uF", "1.592", "-0.0274"), ("1 uF", "15.92", "-2.131")],
)
def test_how_big_must_the_capacitor_be(capacitor: str, corner_hz: str, at_20_hz_db: str) -> None:
    found = answer({"output": {"coupling": capacitor}, "load": {"resistance": "10 kohm"}})
    assert number(found, "low_corner_hz") == pytest.approx(float(corner_hz), rel=1e-3)
    # the figure counts re 1 kHz, where a corner has cost a little already
    at_1_khz_db = -10.0 * math.log10(1.0 + (float(corner_hz) / 1e3) ** 2)
    assert agrees(number(found, "response_20_hz_db") + at_1_khz_db, at_20_hz_db)


def test_wrong_adding_resistance_and_reactance_as_plain_numbers() -> None:
    found = answer({"output": {"coupling": "1 uF"}, "load": {"resistance": "10 kohm"}})
    assert number(found, "response_20_hz_db") > -5.085 + 2.0


def test_is_5_hz_too_high_because_of_phase() -> None:
    found = answer({"output": {"coupling": "3 uF"}, "load": {"resistance": "10 kohm"}})
    assert agrees(number(found, "response_20_hz_db"), "-0.295")
    assert agrees(number(found, "phase_20_hz_deg"), "14.9")
    assert number(found, "low_corner_hz") == pytest.approx(5.305, abs=1e-3)


def test_can_the_capacitors_be_removed() -> None:
    bias = PAIR | {"bias_current": "200 nA"}
    tables = {"volume": half_volts("50 kohm"), "listening": CHAIN | {"amplifier_coupling": "dc"}}
    alone = answer(tables, amplifier=bias)
    assert agrees(1e3 * number(alone, "output_dc_v"), "8.08")
    assert agrees(1e3 * number(alone, "speaker_dc_v"), "218")
    assert codes(alone) == ["dc-at-speaker"]
    offset = answer(tables, amplifier=bias | {"offset_voltage": "0.5 mV"})
    assert agrees(1e3 * number(offset, "output_dc_v"), "10.1")


def test_what_of_several_corners_in_a_row() -> None:
    """Three of 1.592 Hz; each is loaded by so little that it hardly knows the next."""
    tables = {
        "source": {"coupling": "1000 uF"},
        "volume": {"resistance": "100 ohm", "position": 1.0},
        "input": {"coupling": "10 nF", "resistance": "10 Mohm"},
        "amplifier": PAIR,
        "output": {"coupling": "10 uF"},
        "load": {"resistance": "10 kohm"},
    }
    found = answer(tables)
    assert number(found, "low_corner_hz") == pytest.approx(3.122, abs=1e-3)
    assert number(found, "response_20_hz_db") == pytest.approx(-0.0822, abs=1e-4)


# --- gain and headroom ---


def test_how_much_gain_is_needed() -> None:
    four = answer(REFERENCE)
    assert agrees(number(four, "source_over_sensitivity_db"), "20.73")
    assert agrees(100.0 * number(four, "knob_at_rated_power"), "30.6")
    unity = answer(REFERENCE, amplifier={"topology": "follower"})
    assert agrees(100.0 * number(unity, "knob_at_rated_power"), "63")


def test_volume_usable_only_at_the_bottom() -> None:
    eleven = {"feedback_resistance": "10 kohm", "gain_resistance": "1 kohm"} | GENERAL_PURPOSE
    cut = {"feedback_resistance": "1 kohm", "gain_resistance": "10 kohm"} | GENERAL_PURPOSE
    volume = {"resistance": "10 kohm", "taper": "audio 15 %", "position": 0.0}
    before, after = (
        answer(REFERENCE, amplifier=one, volume=volume, source={"level": "2 V rms"})
        for one in (eleven, cut)
    )
    # 20 dB less than 11 is 1.1, the least a non-inverting stage can do
    assert number(before, "gain_maximum_db") - number(after, "gain_maximum_db") == pytest.approx(
        20.0, abs=1e-9
    )
    assert number(after, "noise_20k_v_rms") < number(before, "noise_20k_v_rms") / 5.0
    with pytest.raises(StageError, match=r"non-inverting gain of 0\.11.*cannot be"):
        stage_from({"amplifier": {"gain": 0.11}})
    # a pad at the input lowers the signal, not the stage's own noise
    pad = answer(REFERENCE, amplifier=eleven, volume=volume | {"position": 1.0})
    less = answer(REFERENCE, amplifier=eleven, volume=volume | {"position": 1.0},
                  source={"level": "0.2 V rms"})  # fmt: skip
    assert number(pad, "noise_20k_v_rms") == number(less, "noise_20k_v_rms")


def test_what_a_sensitivity_of_half_a_volt_means() -> None:
    for watts, gain, low, high in (("50 W", 27, 0.74, 0.75), ("100 W", 20, 1.41, 1.42)):
        chain = CHAIN | {"rated_power": watts, "amplifier_gain": gain}
        sensitivity = number(answer({"listening": chain}), "sensitivity_v_rms")
        assert low < sensitivity < high
        assert 0.3 < sensitivity < 1.5


@pytest.mark.parametrize(("rail", "clip_v_rms"), [(12, "7.425"), (15, "9.546"), (18, "11.67")])
def test_do_higher_rails_help(rail: int, clip_v_rms: str) -> None:
    rails = {"positive": f"{rail} V", "negative": f"-{rail} V"}
    found = answer(REFERENCE, supply=rails)
    assert agrees(number(found, "maximum_output_v_rms"), clip_v_rms)
    assert number(found, "maximum_output_v_rms") > 9.0 * 0.7407  # far beyond what clips the other


def test_higher_rails_gain_1_74_db() -> None:
    found = [
        number(answer(REFERENCE, supply={"positive": f"{v} V", "negative": f"-{v} V"}),
               "source_headroom_db")
        for v in (15, 18)
    ]  # fmt: skip
    assert agrees(found[1] - found[0], "1.74")


def test_does_it_clip_symmetrically() -> None:
    """+13.0 and -13.9 V seen at the output, standing at +0.2 V."""
    lopsided = {
        "topology": "follower",
        "swing_loss_high": "2 V",
        "swing_loss_low": "1.1 V",
        "offset_voltage": "0.2 V",
    }
    found = answer(REFERENCE, amplifier=lopsided)
    assert number(found, "clip_high_v") == pytest.approx(12.8, abs=1e-9)
    assert number(found, "clip_low_v") == pytest.approx(-14.1, abs=1e-9)
    centred = answer(
        REFERENCE,
        amplifier={
            "topology": "follower",
            "swing_loss_high": "1.55 V",
            "swing_loss_low": "1.55 V",
        },
    )
    lost = number(centred, "source_headroom_db") - number(found, "source_headroom_db")
    assert agrees(lost, "0.43")


def test_does_the_source_clip_the_input() -> None:
    full = {"resistance": "10 kohm", "position": 1.0}
    rails = {"positive": "12 V", "negative": "-12 V"}
    twelve = answer(REFERENCE, supply=rails, volume=full)
    fifteen = answer(REFERENCE, volume=full)
    assert codes(fifteen) == []
    assert codes(answer(REFERENCE, supply=rails)) == []  # where anyone would listen
    assert codes(twelve) == ["clips-on-its-source"]
    assert "11.4 V peak, and it clips at 10.5 V" in twelve.faults[0].sentence
    assert number(twelve, "source_headroom_db") < 0.0 < number(fifteen, "source_headroom_db")


# --- noise as sound ---


def test_will_its_noise_be_heard() -> None:
    """10 uV at the power amplifier: what 304 kohm makes over 20 kHz."""
    resistance = 1e-10 / (4.0 * 1.380649e-23 * 298.15 * 20e3)
    hissing = {"resistance": f"{resistance:.12g} ohm"}
    found = answer({"source": hissing, "listening": CHAIN | {"speakers": 1}})
    assert agrees(1e6 * number(found, "noise_20k_v_rms"), "10.000")
    assert agrees(number(found, "noise_spl_1m_db"), "6.6")
    at_the_tweeter = CHAIN | {"speakers": 1, "distance": "10 cm"}
    near = answer({"source": hissing, "listening": at_the_tweeter})
    assert agrees(number(near, "noise_spl_seat_db"), "26.6")


# --- supply ---

TRANSFORMER: dict[str, Any] = RAILS | {
    "secondary": "15 V rms",
    "diodes_in_path": 1,
    "diode_drop": "0.8 V",
    "mains_frequency": "50 Hz",
    "mains_tolerance": "10 %",
    "transformer_regulation": "20 %",
    "reservoir": "1000 uF",
    "reservoir_rating": "25 V",
    "load_current": "50 mA",
    "regulator_dropout": "2 V",
}


def test_does_a_bigger_transformer_help() -> None:
    found = answer(REFERENCE, supply=TRANSFORMER)
    assert agrees(number(found, "regulator_margin_v"), "0.79")  # it does not: the valley is enough
    assert agrees(number(found, "transformer_va"), "2.7")
    assert agrees(number(found, "reservoir_peak_v"), "27.2")
    assert codes(found) == ["part-over-voltage"]


def test_do_better_regulators_or_more_microfarads_help() -> None:
    rejecting = PAIR | {"supply_rejection": "80 dB"}
    regulated = TRANSFORMER | {"regulator_rejection": "60 dB"}
    found = answer(REFERENCE, amplifier=rejecting, supply=regulated)
    assert agrees(number(found, "ripple_at_load_2v_db"), "-150.7")
    assert number(found, "ripple_at_load_v_rms") < number(found, "noise_20k_v_rms") / 30.0


def test_will_a_wall_adapter_do() -> None:
    full = answer({"supply": TRANSFORMER})
    half = answer({"supply": TRANSFORMER | {"rectifier": "half"}})
    assert agrees(number(full, "ripple_v_pp"), "0.5")
    assert agrees(number(half, "ripple_v_pp"), "1.0")


@pytest.mark.parametrize(
    ("rail", "secondary", "tolerance", "margin_v", "found_codes"),
    [
        (15, 15, "10 %", "0.79", []),
        (15, 12, "0 %", "-1.33", ["regulator-drops-out"]),
        (12, 12, "10 %", "-0.026", ["regulator-drops-out"]),
    ],
)
def test_which_secondary(
    rail: int, secondary: int, tolerance: str, margin_v: str, found_codes: list[str]
) -> None:
    supply = TRANSFORMER | {
        "positive": f"{rail} V",
        "negative": f"-{rail} V",
        "secondary": f"{secondary} V rms",
        "mains_tolerance": tolerance,
        "reservoir_rating": "35 V",
    }
    found = answer({"supply": supply})
    assert agrees(number(found, "regulator_margin_v"), margin_v)
    assert codes(found) == found_codes


# --- direct current ---


def test_how_much_dc_is_fine() -> None:
    bias = PAIR | {"bias_current": "200 nA", "offset_voltage": "0.5 mV"}

    def at(position: float, coupling: str) -> Figures:
        volume = {"resistance": "50 kohm", "position": position}
        chain = CHAIN | {"amplifier_coupling": coupling}
        return answer(REFERENCE, volume=volume, amplifier=bias, listening=chain)

    worst = at(0.5, "ac")
    assert agrees(1e3 * number(worst, "output_dc_v"), "10.09091")
    assert codes(worst) == []  # the power amplifier blocks it
    assert codes(at(0.5, "dc")) == ["dc-at-speaker"]
    # bipolar bias current makes it move with the knob: scratch
    assert number(at(0.05, "ac"), "output_dc_v") < 0.5 * number(worst, "output_dc_v")
