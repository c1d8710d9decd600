"""Speed of the amplifier: textbook worked examples, to the digits given."""

from __future__ import annotations

import math
from typing import Any

import pytest

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.limits import Limits, limits
from tests.published.worked import agrees, figure, response_db

REFERENCE = {"feedback_resistance": "10 kohm", "gain_resistance": "3.3 kohm"}
FOLLOWER = {"topology": "follower"}


def limits_of(**tables: Any) -> Limits:
    found = limits(nominal(stage_from(tables)))
    assert found is not None
    return found


def test_e34_a_step_through_one_pole_starts_steepest() -> None:
    """10 V over the time constant of a 100 kHz pole, V/us."""
    tau = limits_of(amplifier={**FOLLOWER, "gain_bandwidth": "100 kHz"}).time_constant_s[0]
    assert agrees(10.0 / tau * 1e-6, "6.283185")


def test_e35_the_largest_step_that_does_not_slew() -> None:
    found = limits_of(
        amplifier={
            **FOLLOWER,
            "gain_bandwidth": "2.5 MHz",
            "slew_rise": "9 V/us",
            "slew_fall": "9 V/us",
        }
    )
    assert found.slew_rise_v_per_s is not None
    assert agrees(found.slew_rise_v_per_s[0] * found.time_constant_s[0], "0.572958")


@pytest.mark.parametrize(
    ("level", "amplifier", "slew"),
    [
        ("2 V rms", FOLLOWER, "0.355431"),
        ("10 V peak", FOLLOWER, "1.256637"),
        ("8.0606 V rms", FOLLOWER, "1.432492"),
    ],
)
def test_e37_slew_that_20_khz_needs(level: str, amplifier: dict[str, Any], slew: str) -> None:
    found = figure("slew_needed_v_per_us", source={"level": level}, amplifier=amplifier)
    assert agrees(found, slew)


@pytest.mark.parametrize(
    ("slew", "rail", "khz"),
    [
        ("9 V/us", "10", "143.2394"),
        ("0.5 V/us", "10", "7.957747"),
        ("0.5 V/us", "2.8284271247", "28.13488"),
        ("9 V/us", "2.8284271247", "506.4279"),
        ("2 V/us", "10", "31.8"),
        ("5 V/us", "10", "79.6"),
        ("13 V/us", "10", "206.9"),
    ],
)
def test_e38_full_power_bandwidth(slew: str, rail: str, khz: str) -> None:
    tables = {
        "amplifier": {**FOLLOWER, "slew_rise": slew, "slew_fall": slew},
        "supply": {"positive": f"{rail} V", "negative": f"-{rail} V"},
    }
    assert agrees(figure("full_power_bandwidth_hz", **tables) * 1e-3, khz)


@pytest.mark.parametrize(
    ("amplifier", "bandwidth_hz", "at_20_khz_db"),
    [
        pytest.param({**REFERENCE, "gain_bandwidth": "10 MHz"}, 2.481203e6, "-0.000282", id="E39"),
        pytest.param({"gain": 11, "gain_bandwidth": "3 MHz"}, 272_727.3, "-0.023293", id="E40-3"),
        pytest.param({"gain": 11, "gain_bandwidth": "1 MHz"}, 90_909.1, "-0.205270", id="E40-1"),
    ],
)
def test_closed_loop_bandwidth(
    amplifier: dict[str, Any], bandwidth_hz: float, at_20_khz_db: str
) -> None:
    assert agrees(response_db(20e3, amplifier=amplifier), at_20_khz_db)
    found = figure("closed_loop_bandwidth_hz", amplifier=amplifier)
    # the figure counts from 1 kHz, so it lies a little higher
    from_kilohertz = bandwidth_hz * math.sqrt(1.0 + 2.0 * (1e3 / bandwidth_hz) ** 2)
    assert found == pytest.approx(from_kilohertz, rel=2e-7)


def test_an_inverting_stage_has_the_bandwidth_of_its_noise_gain() -> None:
    """Signal gain -1 but noise gain 2: half the gain-bandwidth product, not all of it."""
    amplifier = {
        "topology": "inverting",
        "feedback_resistance": "10 kohm",
        "gain_resistance": "10 kohm",
        "gain_bandwidth": "10 MHz",
    }
    assert figure("gain_db", amplifier=amplifier) == pytest.approx(0.0, abs=1e-6)
    found = figure("closed_loop_bandwidth_hz", amplifier=amplifier)
    assert found == pytest.approx(5e6, rel=1e-6)
