"""Direct voltage: textbook worked examples, to the digits given."""

from __future__ import annotations

from typing import Any

import pytest

from tests.published.worked import agrees, figure

PAIR = {"feedback_resistance": "10 kohm", "gain_resistance": "3.3 kohm"}
HALF_OF_50K = {"resistance": "50 kohm", "position": 0.5}
CHAIN = {
    "amplifier_gain": 27,
    "amplifier_coupling": "dc",
    "speaker_sensitivity": "87 dB",
    "distance": "3 m",
}


def direct(key: str, *, chain: dict[str, Any] | None = None, **device: Any) -> float:
    tables = {"volume": HALF_OF_50K, "amplifier": PAIR | device}
    return figure(key, **tables, listening=chain or CHAIN)


def test_e65_bias_current() -> None:
    found = direct("output_dc_v", bias_current="200 nA")
    assert agrees(1e3 * found, "8.075758")
    assert agrees(1e3 * found / (1.0 + 10.0 / 3.3), "2.003759")
    assert agrees(1e3 * direct("speaker_dc_v", bias_current="200 nA"), "218.0455")


def test_e65_the_offset_comes_on_top_at_its_worst() -> None:
    both = {"bias_current": "200 nA", "offset_voltage": "0.5 mV"}
    assert agrees(1e3 * direct("output_dc_v", **both), "10.09091")
    turned = {"bias_current": "-200 nA", "offset_voltage": "0.5 mV"}
    assert direct("output_dc_v", **turned) == direct("output_dc_v", **both)


def test_e65_where_the_power_amplifier_s_coupling_is_not_stated() -> None:
    """Nobody knows whether the voltage arrives: what would arrive is told."""
    unstated = {key: value for key, value in CHAIN.items() if key != "amplifier_coupling"}
    found = direct("speaker_dc_v", chain=unstated, bias_current="200 nA")
    assert agrees(1e3 * found, "218.0455")


def test_e66_a_fet_input() -> None:
    """The example counts the wiper alone; beside a feedback pair the difference is what counts."""
    alone = {"gain": 1.0 + 10.0 / 3.3, "bias_current": "50 pA"}
    found = figure("output_dc_v", volume=HALF_OF_50K, amplifier=alone)
    assert agrees(1e6 * found, "2.518939")
    assert 1e6 * direct("output_dc_v", bias_current="50 pA") == pytest.approx(2.0189, abs=1e-4)


def test_a_gain_leg_capacitor_leaves_a_gain_of_one() -> None:
    found = direct("output_dc_v", bias_current="200 nA", gain_leg_capacitance="47 uF")
    assert found == pytest.approx(200e-9 * (12_500.0 - 10_000.0), rel=1e-12)


def test_an_inverting_stage_sees_its_own_pair() -> None:
    """Rf 10 kohm against 1 kohm with a source of 1 kohm: noise gain 6, 1667 ohm in parallel."""
    amplifier = {
        "topology": "inverting",
        "feedback_resistance": "10 kohm",
        "gain_resistance": "1 kohm",
        "bias_current": "200 nA",
        "offset_voltage": "1 mV",
    }
    found = figure("output_dc_v", source={"resistance": "1 kohm"}, amplifier=amplifier)
    assert found == pytest.approx(6.0 * (1e-3 + 200e-9 * 10e3 / 6.0), rel=1e-12)


def test_the_source_s_own_offset_is_amplified() -> None:
    source = {"offset": "-2 mV"}
    found = figure("output_dc_v", source=source, amplifier=PAIR)
    assert found == pytest.approx(2e-3 * (1.0 + 10.0 / 3.3), rel=1e-12)
    blocked = {"coupling": "10 uF", "resistance": "100 kohm"}
    assert figure("output_dc_v", source=source, input=blocked, amplifier=PAIR) == 0.0


def test_an_output_capacitor_keeps_it_from_the_speaker() -> None:
    tables = {"volume": HALF_OF_50K, "amplifier": PAIR | {"bias_current": "200 nA"}}
    coupled = {"output": {"coupling": "22 uF"}, "load": {"resistance": "10 kohm"}}
    assert figure("speaker_dc_v", **tables, **coupled, listening=CHAIN) == 0.0
    assert figure("output_dc_v", **tables, **coupled) > 8e-3
