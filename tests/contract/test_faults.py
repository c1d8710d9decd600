"""Each fault is told where its rule says, with its number and its caution, and only there."""

from __future__ import annotations

import copy
import json
import pickle
import re
from typing import Any

import pytest

from stagefx.circuit.description.files import load_stage, ready_made, stage_from
from stagefx.figures.cautions import CAUTIONS, caution_for, cautions_of
from stagefx.figures.faults import RULES, Fault, FaultRemark
from stagefx.figures.table import compute_figures

RAILS = {"positive": "15 V", "negative": "-15 V"}
FOLLOWER = {"topology": "follower"}
LOADED = {
    "topology": "follower",
    "gain_bandwidth": "10 MHz",
    "open_loop_output_resistance": "100 ohm",
}
FAST = {"topology": "follower", "gain_bandwidth": "55 MHz"}
CHAIN = {
    "amplifier_gain": 27,
    "amplifier_coupling": "dc",
    "amplifier_bandwidth": "100 kHz",
    "rated_power": "50 W",
    "speaker_impedance": "8 ohm",
    "speaker_sensitivity": "87 dB",
    "distance": "3 m",
}
UNSTATED = {key: value for key, value in CHAIN.items() if key != "amplifier_coupling"}
TRANSFORMER = {
    "secondary": "15 V rms",
    "diode_drop": "0.8 V",
    "mains_frequency": "50 Hz",
    "mains_tolerance": "10 %",
    "transformer_regulation": "20 %",
    "reservoir": "1000 uF",
    "reservoir_rating": "35 V",
    "load_current": "50 mA",
    "regulator_dropout": "2 V",
}
SUPPLY = RAILS | TRANSFORMER
BIAS = {"gain": 4.0303, "bias_current": "200 nA"}
WIPER = {"resistance": "50 kohm", "position": 0.5}


def faults(**tables: Any) -> tuple[Fault, ...]:
    return compute_figures(stage_from(tables)).faults


FIRES: list[tuple[str, dict[str, Any], str]] = [
    (
        "clips-on-its-source",
        {"source": {"level": "2 V rms"}, "amplifier": {"gain": 11}, "supply": RAILS},
        r"2 V rms\).*31\.1 V peak.*15 V: 6\.3 dB",
    ),
    (
        "low-phase-margin",
        {"amplifier": LOADED, "load": {"capacitance": "1 nF"}},
        r"22\.5 deg.*53 %.*3\.91 MHz.*47 to 100 ohm",
    ),
    (
        "low-phase-margin",
        {
            "amplifier": FAST,
            "supply": RAILS | {"decoupling": "100 nF", "decoupling_distance": "80 mm"},
        },
        r"likely.*80 mm.*80 nH.*1\.78 MHz.*Only a scope.*10 mm",
    ),
    (
        "low-phase-margin",
        {"amplifier": FAST, "supply": RAILS | {"decoupling": "0 F"}},
        r"likely: nothing decouples.*55 MHz.*Only a scope",
    ),
    (
        "low-phase-margin",
        {"amplifier": FAST, "supply": RAILS | {"decoupling": "100 pF"}},
        r"likely: 100 pF is little.*29 ohm.*Only a scope",
    ),
    (
        "oscillates",
        {
            "amplifier": FOLLOWER,
            "oscillation": {"level": "0.6 V p-p", "frequency": "1.8 MHz"},
        },
        r"600 mV p-p at 1\.8 MHz",
    ),
    (
        "oscillates",
        {"amplifier": LOADED | {"second_pole": "5 MHz"}, "load": {"capacitance": "10 nF"}},
        r"must oscillate.*deg past 180",
    ),
    (
        "regulator-drops-out",
        {"supply": SUPPLY | {"secondary": "13 V rms"}},
        r"low mains \(-10 %\).*15\.2 V.*1\.75 V less",
    ),
    (
        "part-over-voltage",
        {"supply": SUPPLY | {"reservoir_rating": "25 V"}},
        r"27\.2 V.*rated 25 V",
    ),
    (
        "dc-at-speaker",
        {"volume": WIPER, "amplifier": BIAS, "listening": CHAIN},
        r"272 mV.*10\.1 mV.*50 mV",
    ),
    (
        "dc-at-speaker",
        {"volume": WIPER, "amplifier": BIAS, "listening": UNSTATED},
        r"^If the power amplifier is DC-coupled, up to 272 mV.*50 mV.*\[listening\] amplifier_coup",
    ),
    (
        "dc-at-speaker",
        {
            "input": {"coupling": "1 uF"},
            "amplifier": BIAS,
            "listening": UNSTATED,
        },
        r"drifts to a rail.*would pass.*not stated.*100 kohm",
    ),
    (
        "dc-at-speaker",
        {
            "input": {"coupling": "1 uF"},
            "amplifier": BIAS,
            "listening": CHAIN,
        },
        r"Nothing leads the input's bias current.*100 kohm",
    ),
    (
        "ultrasonic-power-in-tweeter",
        {
            "oscillation": {"level": "6 V p-p", "frequency": "200 kHz"},
            "listening": CHAIN,
        },
        r"200 kHz puts 82 W.*25\.6 V rms",
    ),
    (
        "output-current-limited",
        {
            "amplifier": FOLLOWER | {"output_current": "20 mA"},
            "supply": RAILS,
            "load": {"resistance": "600 ohm"},
        },
        r"20 mA end at 12 V peak.*15 V",
    ),
    (
        "output-current-limited",
        {
            "amplifier": FOLLOWER | {"output_current": "20 mA", "slew_rise": "9 V/us"},
            "load": {"capacitance": "10 nF"},
        },
        r"20 mA charge.*2 V/us.*9 V/us",
    ),
    (
        "supply-above-maximum",
        {
            "amplifier": FOLLOWER | {"supply_maximum": "18 V"},
            "supply": {"positive": "20 V", "negative": "-20 V"},
        },
        r"40 V between the rails.*36 V",
    ),
    (
        "gain-below-one",
        {
            "amplifier": {"gain": 1.1},
            "output": {"resistance": "10 kohm"},
            "load": {"resistance": "1 kohm"},
        },
        r"0\.1 at most \(-20\.0 dB\).*1\.1",
    ),
]
NEAR_MISSES: list[tuple[str, dict[str, Any]]] = [
    (
        "clips-on-its-source",
        {"source": {"level": "2 V rms"}, "amplifier": {"gain": 4.0303}, "supply": RAILS},
    ),
    ("clips-on-its-source", {"source": {"level": "2 V rms"}, "amplifier": {"gain": 11}}),
    (
        "low-phase-margin",
        {
            "amplifier": LOADED,
            "load": {"capacitance": "1 nF"},
            "output": {"resistance": "47 ohm"},
        },
    ),
    (
        "low-phase-margin",
        {
            "amplifier": FAST,
            "supply": RAILS | {"decoupling": "100 nF", "decoupling_distance": "10 mm"},
        },
    ),
    (
        "low-phase-margin",
        {
            "amplifier": FOLLOWER | {"gain_bandwidth": "1 MHz"},
            "supply": RAILS | {"decoupling": "0 F", "decoupling_distance": "80 mm"},
        },
    ),
    ("low-phase-margin", {"amplifier": FAST, "supply": RAILS}),
    ("oscillates", {"amplifier": LOADED, "load": {"capacitance": "10 nF"}}),
    (
        "oscillates",
        {"amplifier": FOLLOWER, "oscillation": {"level": "0 V p-p", "frequency": "1 MHz"}},
    ),
    ("regulator-drops-out", {"supply": SUPPLY}),
    (
        "regulator-drops-out",
        {"supply": {k: v for k, v in SUPPLY.items() if k != "regulator_dropout"}},
    ),
    ("part-over-voltage", {"supply": SUPPLY}),
    (
        "dc-at-speaker",
        {"volume": WIPER, "amplifier": BIAS, "listening": CHAIN | {"amplifier_coupling": "ac"}},
    ),
    (
        "dc-at-speaker",
        {"volume": WIPER, "amplifier": BIAS | {"bias_current": "50 pA"}, "listening": CHAIN},
    ),
    (
        "dc-at-speaker",
        {
            "volume": WIPER,
            "amplifier": BIAS,
            "output": {"coupling": "22 uF"},
            "load": {"resistance": "22 kohm"},
            "listening": CHAIN,
        },
    ),
    (
        "ultrasonic-power-in-tweeter",
        {"oscillation": {"level": "0.6 V p-p", "frequency": "1.8 MHz"}, "listening": CHAIN},
    ),
    (
        "output-current-limited",
        {
            "amplifier": FOLLOWER | {"output_current": "20 mA"},
            "supply": RAILS,
            "load": {"resistance": "10 kohm"},
        },
    ),
    (
        "output-current-limited",
        {
            "amplifier": FOLLOWER | {"output_current": "20 mA", "slew_rise": "9 V/us"},
            "output": {"resistance": "47 ohm"},
            "load": {"capacitance": "10 nF"},
        },
    ),
    (
        "supply-above-maximum",
        {"amplifier": FOLLOWER | {"supply_maximum": "18 V"}, "supply": RAILS},
    ),
    (
        "gain-below-one",
        {
            "amplifier": FOLLOWER,
            "output": {"resistance": "100 ohm"},
            "load": {"resistance": "5 kohm"},
        },
    ),
    (
        "gain-below-one",
        {
            "volume": {"resistance": "10 kohm", "position": 0.01},
            "amplifier": {"gain": 1.1},
            "load": {"resistance": "5 kohm"},
        },
    ),
    ("gain-below-one", {"output": {"resistance": "10 kohm"}, "load": {"resistance": "1 kohm"}}),
]


@pytest.mark.parametrize(("code", "tables", "says"), FIRES)
def test_a_fault_is_told(code: str, tables: dict[str, Any], says: str) -> None:
    found = faults(**tables)
    (fault,) = [fault for fault in found if fault.code == code]
    assert re.search(says, fault.sentence), fault.sentence
    assert re.search(r"\d", fault.sentence)
    assert fault.caution == caution_for(code)


@pytest.mark.parametrize(("code", "tables"), NEAR_MISSES)
def test_a_near_miss_is_no_fault(code: str, tables: dict[str, Any]) -> None:
    assert code not in {fault.code for fault in faults(**tables)}


def test_every_fault_is_tried_both_ways() -> None:
    assert {code for code, *_ in FIRES} == set(RULES)
    assert {code for code, _ in NEAR_MISSES} == set(RULES)


def test_the_list_is_closed() -> None:
    assert set(RULES) == {
        "clips-on-its-source",
        "low-phase-margin",
        "oscillates",
        "regulator-drops-out",
        "part-over-voltage",
        "dc-at-speaker",
        "ultrasonic-power-in-tweeter",
        "output-current-limited",
        "supply-above-maximum",
        "gain-below-one",
    }


def test_decoupling_is_likely_and_never_certain() -> None:
    for code, tables, _ in FIRES:
        for fault in faults(**tables):
            if "decoupl" in fault.sentence:
                assert code == "low-phase-margin"
                assert fault.sentence.startswith("Oscillation is likely")
                assert "Only a scope shows it" in fault.sentence


READY = {
    "too-hot": ["clips-on-its-source"],
    "bare-rails": ["oscillates", "low-phase-margin"],
}


@pytest.mark.parametrize("name", ready_made())
def test_ready_made_stages_have_the_faults_they_stand_for(name: str) -> None:
    found = compute_figures(load_stage(name)).faults
    assert [fault.code for fault in found] == READY.get(name, [])


def test_wire_is_healthy() -> None:
    assert compute_figures(load_stage("wire")).faults == ()


def test_faults_stand_before_the_figures_in_json() -> None:
    plain = compute_figures(load_stage("bare-rails")).as_json()
    keys = list(plain)
    assert keys.index("faults") < keys.index("figures")
    assert set(plain["faults"][0]) == {"code", "sentence", "caution"}
    assert json.loads(json.dumps(plain)) == plain


def test_every_caution_can_be_shown() -> None:
    told = " ".join(caution_for(code) for code in RULES)
    everything = stage_from(
        {
            "amplifier": FOLLOWER,
            "supply": SUPPLY,
            "hum": {"level": "1 mV rms", "frequency": "50 Hz"},
            "listening": CHAIN,
        }
    )
    told += " ".join(cautions_of(everything))
    left = {name for name, text in CAUTIONS.items() if text not in told}
    assert left == {"hearing", "listening"}  # shown where something is played, not beside a stage
    assert cautions_of(stage_from({})) == ()


@pytest.mark.parametrize("kept", [copy.deepcopy, lambda one: pickle.loads(pickle.dumps(one))])
def test_a_fault_stays_a_fault_among_remarks(kept: Any) -> None:
    (fault,) = compute_figures(load_stage("too-hot")).faults
    remark = kept(fault.remark)
    assert isinstance(remark, FaultRemark)
    assert remark.sentence == fault.sentence
    assert json.dumps([remark]) == json.dumps([f"Fault: {fault.sentence}"])
