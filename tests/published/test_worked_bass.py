"""Bass corners: textbook worked examples, to the digits given."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.network.ladder import coupling_poles
from stagefx.circuit.network.placement import input_parts
from tests.published.worked import agrees, crossing_hz, figure, response_db

PASSBAND_HZ = 1e9
"""So high that no bass corner of an example matters."""
HALF_POWER_DB = -10.0 * math.log10(2.0)


def coupled(capacitor: str, resistance: str, source: str = "0 ohm") -> dict[str, Any]:
    return {
        "source": {"resistance": source},
        "input": {"coupling": capacitor, "resistance": resistance},
        "amplifier": {"topology": "follower"},
    }


def loss_db(hz: float, **tables: Any) -> float:
    return response_db(hz, re_hz=PASSBAND_HZ, **tables)


def corner_hz(**tables: Any) -> float:
    return crossing_hz(0.01, 1e3, HALF_POWER_DB, lambda hz: loss_db(hz, **tables))


@pytest.mark.parametrize(
    ("tables", "corner", "at_20_hz_db"),
    [
        pytest.param(coupled("10 uF", "10 kohm"), "1.591549", "-0.027415", id="E24"),
        pytest.param(coupled("1 uF", "10 kohm"), "15.91549", "-2.130546", id="E25"),
        pytest.param(coupled("1 uF", "47 kohm"), "3.386275", "-0.122749", id="E26-47k"),
        pytest.param(coupled("1 uF", "10 kohm", "600 ohm"), "15.01462", "-1.941248", id="E26-600"),
        pytest.param(coupled("3 uF", "10 kohm"), "5.305165", "-0.295307", id="E26-3u"),
        pytest.param(coupled("2.2 uF", "10 kohm"), "7.234316", "-0.534005", id="E26-2u2"),
    ],
)
def test_one_coupling_capacitor(tables: dict[str, Any], corner: str, at_20_hz_db: str) -> None:
    assert agrees(corner_hz(**tables), corner)
    assert agrees(loss_db(20.0, **tables), at_20_hz_db)
    assert figure("low_corner_hz", **tables) == pytest.approx(float(corner), rel=3e-4)


@pytest.mark.parametrize(
    ("tables", "degrees"),
    [
        pytest.param(coupled("10 uF", "10 kohm"), "4.54987", id="E24"),
        pytest.param(coupled("1 uF", "10 kohm"), "38.51189", id="E25"),
        pytest.param(coupled("3 uF", "10 kohm"), "14.85605", id="E26"),
    ],
)
def test_phase_at_20_hz(tables: dict[str, Any], degrees: str) -> None:
    assert agrees(figure("phase_20_hz_deg", **tables), degrees)


def test_e25_impedances_add_at_right_angles() -> None:
    tables = coupled("1 uF", "10 kohm")
    assert agrees(loss_db(40.0, **tables), "-0.638264")
    assert not agrees(loss_db(20.0, **tables), "-5.085037"), "the scalar sum of the two"
    assert not agrees(loss_db(corner_hz(**tables), **tables), "-6.0206"), (
        "the scalar sum of the two"
    )


def test_e27_three_equal_poles_apart() -> None:
    one = coupled("10 uF", "10 kohm")
    two = one | {"output": {"coupling": "10 uF"}, "load": {"resistance": "10 kohm"}}

    def three(hz: float) -> float:
        return loss_db(hz, **one) + loss_db(hz, **two)

    assert agrees(crossing_hz(1.0, 20.0, HALF_POWER_DB, three), "3.121759")
    assert agrees(three(20.0), "-0.082246")


@pytest.mark.parametrize(
    ("capacitor", "resistance", "wanted_db"),
    [
        ("5.214078 uF", "10 kohm", "-0.100000"),
        ("1.109378 uF", "47 kohm", "-0.100000"),
        ("2.278124 uF", "10 kohm", "-0.500000"),
    ],
)
def test_e28_the_capacitor_that_a_loss_at_20_hz_asks_for(
    capacitor: str, resistance: str, wanted_db: str
) -> None:
    assert agrees(loss_db(20.0, **coupled(capacitor, resistance)), wanted_db)


def test_e29_a_capacitor_in_the_gain_leg_is_no_plain_high_pass() -> None:
    """The gain falls to 1, not to nothing, so the corner lies below 1/(2 pi R C)."""
    tables = {
        "amplifier": {
            "feedback_resistance": "10 kohm",
            "gain_resistance": "3.3 kohm",
            "gain_leg_capacitance": "47 uF",
        }
    }
    assert agrees(corner_hz(**tables), "0.960896")
    nominal_hz = 1.0 / (2.0 * math.pi * 3300.0 * 47e-6)
    assert agrees(nominal_hz, "1.026144")
    assert agrees(loss_db(nominal_hz, **tables), "-2.750839")
    assert agrees(loss_db(20.0, **tables), "-0.010714")


def pole_rad_per_s(corner: float) -> float:
    farads = 1.0 / (2.0 * math.pi * 10e3 * corner)
    stage = stage_from(coupled(f"{farads!r} F", "10 kohm"))
    (pole,) = coupling_poles(input_parts(nominal(stage)))
    return float(pole)


def test_e32_droop_of_a_square_wave() -> None:
    """50 Hz: a top lasts 10 ms, and droops by the pole of the coupling capacitor."""
    pole, top_s = pole_rad_per_s(1.591549431), 0.01
    assert agrees(100.0 * -math.expm1(-pole * top_s), "9.516258")
    assert agrees(100.0 * 2.0 * math.tanh(pole * top_s / 2.0), "9.991675")


def test_e33_the_corner_that_a_tilt_tells() -> None:
    for corner, tilt in ((6.387547, "0.20000"), (6.366198, "0.1993")):
        top_s = 0.5 / 100.0
        assert agrees(2.0 * math.tanh(pole_rad_per_s(corner) * top_s / 2.0), tilt)


@pytest.mark.parametrize(
    ("loss", "octaves"), [(0.01, 20.83), (0.1, 6.552), (0.2, 4.606), (0.5, 2.863), (1.0, 1.965)]
)
def test_table_of_losses_and_corners(loss: float, octaves: float) -> None:
    """Computed table of line-level practice: f/fc of a high-pass for a loss at f."""
    farads = 1.0 / (2.0 * math.pi * 10e3 * 20.0 / octaves)
    found = loss_db(20.0, **coupled(f"{farads!r} F", "10 kohm"))
    assert found == pytest.approx(-loss, rel=1e-3)


@pytest.mark.parametrize(
    ("corner", "delay_ms"), [(0.5, 0.20), (1.0, 0.40), (2.0, 0.79), (5.0, 1.87), (10.0, 3.18)]
)
def test_table_of_group_delays(corner: float, delay_ms: float) -> None:
    """Computed table of line-level practice: group delay of a high-pass at 20 Hz."""
    from stagefx.circuit.response import Response

    farads = 1.0 / (2.0 * math.pi * 10e3 * corner)
    hz = np.array([19.999, 20.001])
    circuit = nominal(stage_from(coupled(f"{farads!r} F", "10 kohm")))
    angle = np.angle(Response(circuit, hz).to_load[0])
    delay_s = -np.diff(angle)[0] / (2.0 * math.pi * np.diff(hz)[0])
    assert 1e3 * delay_s == pytest.approx(delay_ms, abs=0.005)
