"""The supply: textbook worked examples, to the digits given."""

from __future__ import annotations

from typing import Any

import pytest

from stagefx.circuit.description.files import stage_from
from stagefx.figures.table import compute_figures
from tests.published.worked import agrees, figure

SUPPLY: dict[str, Any] = {
    "positive": "15 V",
    "negative": "-15 V",
    "secondary": "15 V rms",
    "diodes_in_path": 1,
    "diode_drop": "0.8 V",
    "mains_frequency": "50 Hz",
    "mains_tolerance": "10 %",
    "reservoir": "1000 uF",
    "load_current": "50 mA",
    "regulator_dropout": "2 V",
}
PAIR = {"feedback_resistance": "10 kohm", "gain_resistance": "3.3 kohm"}


def supply(key: str, **changed: Any) -> float:
    return figure(key, supply=SUPPLY | changed)


@pytest.mark.parametrize(
    ("changed", "ripple"),
    [
        ({}, "0.500000"),
        ({"mains_frequency": "60 Hz"}, "0.416667"),
        ({"rectifier": "half"}, "1.000000"),
    ],
    ids=["50 Hz", "60 Hz", "half wave"],
)
def test_e60_ripple_by_the_rule(changed: dict[str, Any], ripple: str) -> None:
    assert agrees(supply("ripple_v_pp", **changed), ripple)


def test_e60_ripple_exactly() -> None:
    exact = supply("ripple_exact_v_pp")
    assert agrees(exact, "0.466559")
    # 50 mA out of 1000 uF: the valley comes when so much has fallen
    assert agrees(exact * 1000e-6 / 50e-3 * 1e3, "9.331172")


def test_e61_valley_and_margin() -> None:
    assert agrees(supply("valley_v"), "19.91320")
    assert agrees(supply("regulator_margin_v"), "0.791883")


def test_e61_a_secondary_that_is_too_low() -> None:
    at_nominal_mains = {"secondary": "12 V rms", "mains_tolerance": "0 %"}
    assert agrees(supply("valley_v", **at_nominal_mains), "15.67056")
    assert agrees(supply("regulator_margin_v", **at_nominal_mains), "-1.329437")


def test_e61_twelve_volts_for_twelve() -> None:
    rails = {"positive": "12 V", "negative": "-12 V", "secondary": "12 V rms"}
    assert agrees(supply("regulator_margin_v", **rails), "-0.026494")


def test_e61_crest() -> None:
    assert agrees(supply("valley_v") + supply("ripple_v_pp"), "20.41320")
    low = supply("valley_v", secondary="13.5 V rms") + supply("ripple_v_pp")
    assert agrees(low, "18.29188")


def rejection(key: str, **changed: Any) -> float:
    amplifier = PAIR | {"supply_rejection": "80 dB"}
    return figure(key, supply=SUPPLY | changed, amplifier=amplifier)


def test_e62_ripple_at_the_output() -> None:
    regulated = {"regulator_rejection": "60 dB"}
    assert agrees(rejection("ripple_at_load_v_rms", **regulated) * 1e6, "0.058172")
    assert agrees(rejection("ripple_at_load_v_rms", **regulated) * 12.0**0.5 * 1e6, "0.201515")
    assert agrees(rejection("ripple_at_load_2v_db", **regulated), "-150.7263")
    assert agrees(rejection("ripple_at_load_2v_db"), "-90.72626")


def test_e62_ripple_stands_in_the_noise_budget() -> None:
    amplifier = PAIR | {"supply_rejection": "80 dB"}
    stage = stage_from({"supply": SUPPLY, "amplifier": amplifier})
    budget = {name: volts for name, volts, _ in compute_figures(stage).noise_budget}
    assert agrees(budget["supply ripple"] * 1e6, "58.172")


def test_regulator_noise_stands_in_the_noise_budget() -> None:
    """100 uV of each of two regulators, 80 dB down, times the noise gain."""
    amplifier = PAIR | {"supply_rejection": "80 dB"}
    rails = SUPPLY | {"regulator_noise": "100 uV rms"}
    budget = compute_figures(stage_from({"supply": rails, "amplifier": amplifier})).noise_budget
    volts = {name: value for name, value, _ in budget}["regulator noise"]
    assert volts == pytest.approx(2.0**0.5 * 100e-6 * 1e-4 * (1.0 + 10.0 / 3.3), rel=1e-9)

    unknown = compute_figures(stage_from({"supply": rails, "amplifier": PAIR})).noise_budget
    assert "regulator noise" not in {name for name, _, _ in unknown}  # no rejection is stated


def test_e63_over_voltage() -> None:
    found = supply("reservoir_peak_v", transformer_regulation="20 %")
    assert agrees(found, "27.20143")


def test_e63_wrong_without_regulation_or_mains() -> None:
    """The secondary's rated voltage says too little of what its capacitor must stand."""
    assert supply("reservoir_peak_v", mains_tolerance="0 %") < 25.0
    assert supply("reservoir_peak_v", transformer_regulation="20 %") > 25.0


def test_e64_transformer_and_heat() -> None:
    assert agrees(supply("transformer_va"), "2.7000")
    assert agrees(supply("regulator_heat_w"), "0.258160")
    assert agrees(supply("regulator_heat_w", secondary="16.5 V rms"), "0.364226")
    assert agrees(supply("transformer_va", negative="0 V"), "1.3500")
