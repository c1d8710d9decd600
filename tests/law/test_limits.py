"""Clip levels, slew limits and stated direct voltages, against sums done by hand."""

from __future__ import annotations

from typing import Any

import pytest

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.limits import Limits, limits, stated_direct_v
from stagefx.errors import StageError

RAILS = {"positive": "15 V", "negative": "-15 V"}
FOLLOWER = {"topology": "follower"}


def found(**tables: Any) -> Limits:
    worked = limits(nominal(stage_from(tables)))
    assert worked is not None
    return worked


def direct_v(**tables: Any) -> float:
    return float(stated_direct_v(nominal(stage_from(tables)))[0, 0])


def test_without_a_supply_nothing_clips() -> None:
    assert found(amplifier=FOLLOWER).high_v is None
    assert found(amplifier=FOLLOWER).slew_rise_v_per_s is None


def test_without_an_amplifier_there_is_nothing_to_clip() -> None:
    assert limits(nominal(stage_from({"supply": RAILS}))) is None


def test_rails_that_leave_no_swing() -> None:
    amplifier = {**FOLLOWER, "swing_loss_high": "1.5 V", "swing_loss_low": "1.5 V"}
    words = (
        r"^\[supply\] rails of 1 V and -15 V leave the device no swing; raise the rails, or give "
        r"smaller swing_loss_high and swing_loss_low$"
    )
    with pytest.raises(StageError, match=words):
        found(amplifier=amplifier, supply={"positive": "1 V", "negative": "-15 V"})


def test_the_feedback_path_is_a_load_too() -> None:
    """1 mA into 600 ohm in parallel with 13.3 kohm of feedback parts."""
    amplifier = {
        "feedback_resistance": "10 kohm",
        "gain_resistance": "3.3 kohm",
        "output_current": "1 mA",
    }
    worked = found(amplifier=amplifier, supply=RAILS, load={"resistance": "600 ohm"})
    assert worked.high_v is not None
    assert worked.high_v[0] == pytest.approx(1e-3 / (1.0 / 600.0 + 1.0 / 13.3e3), rel=1e-12)


@pytest.mark.parametrize(
    ("output", "volume", "slew_v_per_us"),
    [
        (None, None, 20.0),
        ({"resistance": "0 ohm"}, None, 20.0),
        ({"coupling": "1 uF"}, None, 20.02),  # in series with 1 nF
        ({"resistance": "47 ohm"}, None, None),
        (None, {"resistance": "10 kohm", "place": "after", "position": 1.0}, 20.0),
        (None, {"resistance": "10 kohm", "place": "after", "position": 0.5}, None),
        (None, {"resistance": "10 kohm", "place": "before", "position": 0.5}, 20.0),
    ],
)
def test_output_current_into_a_bare_capacitor(
    output: dict[str, str] | None, volume: dict[str, Any] | None, slew_v_per_us: float | None
) -> None:
    """20 mA into 1 nF, unless a resistor keeps the two apart."""
    tables: dict[str, Any] = {
        "amplifier": {**FOLLOWER, "output_current": "20 mA"},
        "load": {"capacitance": "1 nF"},
    }
    tables |= {} if output is None else {"output": output}
    tables |= {} if volume is None else {"volume": volume}
    slew = found(**tables).slew_rise_v_per_s
    if slew_v_per_us is None:
        assert slew is None
    else:
        assert slew is not None
        assert slew[0] * 1e-6 == pytest.approx(slew_v_per_us, rel=1e-9)


def test_the_smaller_slew_limit_counts() -> None:
    amplifier = {
        **FOLLOWER,
        "output_current": "20 mA",
        "slew_rise": "9 V/us",
        "slew_fall": "30 V/us",
    }
    worked = found(amplifier=amplifier, load={"capacitance": "1 nF"})
    assert worked.slew_rise_v_per_s is not None
    assert worked.slew_fall_v_per_s is not None
    assert worked.slew_rise_v_per_s[0] == pytest.approx(9e6)
    assert worked.slew_fall_v_per_s[0] == pytest.approx(20e6)


SOURCE = {"offset": "0.1 V", "resistance": "1 kohm"}
INVERTING = {
    "topology": "inverting",
    "feedback_resistance": "10 kohm",
    "gain_resistance": "10 kohm",
}


def test_direct_voltage_of_an_inverting_stage_counts_its_source() -> None:
    assert direct_v(source=SOURCE, amplifier=INVERTING) == pytest.approx(-0.1 * 10.0 / 11.0)


def test_direct_voltage_of_a_non_inverting_stage() -> None:
    tables = {"source": SOURCE, "amplifier": {"gain": 4}, "input": {"resistance": "9 kohm"}}
    assert direct_v(**tables) == pytest.approx(0.1 * 0.9 * 4.0)


@pytest.mark.parametrize(
    "tables",
    [
        {"source": {**SOURCE, "coupling": "1 uF"}, "amplifier": {"gain": 4}},
        {"source": SOURCE, "input": {"coupling": "1 uF"}, "amplifier": {"gain": 4}},
        {"source": SOURCE, "amplifier": {**INVERTING, "gain_leg_capacitance": "1 uF"}},
    ],
)
def test_a_capacitor_blocks_the_source_s_direct_voltage(tables: dict[str, Any]) -> None:
    assert direct_v(**tables) == 0.0


def test_a_gain_leg_capacitor_passes_the_offset_but_once() -> None:
    pair = {"feedback_resistance": "10 kohm", "gain_resistance": "1 kohm", "offset_voltage": "1 mV"}
    assert direct_v(amplifier=pair) == pytest.approx(11e-3)
    assert direct_v(amplifier=pair | {"gain_leg_capacitance": "47 uF"}) == pytest.approx(1e-3)
