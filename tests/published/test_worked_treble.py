"""Treble corners: textbook worked examples, to the digits given."""

from __future__ import annotations

import math

import pytest

from tests.published.worked import agrees, crossing_hz, figure, response_db

HALF_POWER_DB = -10.0 * math.log10(2.0)


def wiper_and_cable(whole: str, cable: str) -> dict[str, dict[str, object]]:
    """A control at half volts, whose wiper (a quarter of the whole) drives a cable."""
    return {
        "volume": {"resistance": whole, "taper": "linear", "position": 0.5},
        "output_cable": {"capacitance": cable},
    }


def resistor_and_capacitor(resistance: str, capacitance: str) -> dict[str, dict[str, object]]:
    return {"source": {"resistance": resistance}, "load": {"capacitance": capacitance}}


@pytest.mark.parametrize(
    ("tables", "corner_hz", "at_10_khz_db", "at_20_khz_db"),
    [
        pytest.param(wiper_and_cable("10 kohm", "300 pF"), "212206.6", "-0.009634", "-0.038407",
                     id="E15"),
        pytest.param(wiper_and_cable("50 kohm", "300 pF"), "42441.32", "-0.234650", "-0.870947",
                     id="E16"),
        pytest.param(wiper_and_cable("100 kohm", "300 pF"), "21220.66", "-0.870947", "-2.760628",
                     id="E16b"),
        pytest.param(wiper_and_cable("50 kohm", "520 pF"), "24485.38", "-0.669950", "-2.219839",
                     id="E16c"),
        pytest.param(resistor_and_capacitor("100 ohm", "1 nF"), "1591549", "-0.000171",
                     "-0.000686", id="E22"),
        pytest.param(resistor_and_capacitor("100 ohm", "10 nF"), "159154.9", "-0.017112",
                     "-0.068045", id="E22b"),
        pytest.param(resistor_and_capacitor("1 kohm", "220 pF"), "723431.6", "-0.000830",
                     "-0.003318", id="E22c"),
    ],
)  # fmt: skip
def test_one_pole(
    tables: dict[str, dict[str, object]], corner_hz: str, at_10_khz_db: str, at_20_khz_db: str
) -> None:
    assert agrees(response_db(10e3, **tables), at_10_khz_db)
    assert agrees(response_db(20e3, **tables), at_20_khz_db)
    found = crossing_hz(1e3, 1e8, HALF_POWER_DB, lambda hz: response_db(hz, **tables))
    assert agrees(found, corner_hz)


@pytest.mark.parametrize(
    ("loss_db", "corner_hz"),
    [
        (-0.1, 131_044.1),
        (-0.25, 82_162.22),
        (-0.5, 57_255.50),
        (-1.0, 39_304.53),
        (-2.0, 26_151.21),
    ],
)
def test_e23_the_corner_that_a_loss_at_20_khz_asks_for(loss_db: float, corner_hz: float) -> None:
    farads = 1.0 / (2.0 * math.pi * 1e3 * corner_hz)
    tables = resistor_and_capacitor("1 kohm", f"{farads!r} F")
    assert response_db(20e3, **tables) == pytest.approx(loss_db, abs=1e-6)


def test_e23_half_a_decibel_as_a_figure() -> None:
    """The figure counts from 1 kHz, where this pole has already taken 0.0013 dB."""
    farads = 1.0 / (2.0 * math.pi * 1e3 * 57_255.50)
    found = figure("high_half_db_hz", **resistor_and_capacitor("1 kohm", f"{farads!r} F"))
    assert found == pytest.approx(20e3, rel=0.002)
    assert found > 20e3


@pytest.mark.parametrize(("whole", "most"), [("50 kohm", "97.161 pF"), ("10 kohm", "485.806 pF")])
def test_e23b_the_most_capacitance_for_a_tenth_of_a_decibel(whole: str, most: str) -> None:
    assert agrees(response_db(20e3, **wiper_and_cable(whole, most)), "-0.100000")


def test_e23c_two_equal_poles_apart() -> None:
    """Half a decibel each at 20 kHz; together one decibel, and a lower corner than either.

    The corner of two equal poles is sqrt(sqrt 2 - 1) of one: textbook filter theory.
    """
    farads = f"{1.0 / (2.0 * math.pi * 1e3 * 57_255.50)!r} F"
    tables = {
        "source": {"resistance": "1 kohm"},
        "input": {"shunt_capacitance": farads},
        "amplifier": {"topology": "follower"},
        "output": {"resistance": "1 kohm"},
        "load": {"capacitance": farads},
    }
    assert agrees(response_db(20e3, **tables), "-1.0000")
    corner = crossing_hz(1e3, 1e6, HALF_POWER_DB, lambda hz: response_db(hz, **tables))
    assert corner == pytest.approx(57_255.50 * math.sqrt(math.sqrt(2.0) - 1.0), rel=1e-9)
    assert corner == pytest.approx(36_849.3, abs=0.05)


@pytest.mark.parametrize(
    ("whole", "cable", "loss_db"),
    [
        ("10 kohm", "100 pF", "-0.004"),
        ("10 kohm", "200 pF", "-0.017"),
        ("10 kohm", "500 pF", "-0.106"),
        ("10 kohm", "1 nF", "-0.409"),
        ("25 kohm", "100 pF", "-0.027"),
        ("25 kohm", "200 pF", "-0.106"),
        ("25 kohm", "500 pF", "-0.623"),
        ("25 kohm", "1 nF", "-2.087"),
        ("50 kohm", "100 pF", "-0.106"),
        ("50 kohm", "200 pF", "-0.409"),
        ("50 kohm", "500 pF", "-2.087"),
        ("50 kohm", "1 nF", "-5.400"),
        ("100 kohm", "100 pF", "-0.409"),
        ("100 kohm", "200 pF", "-1.445"),
        ("100 kohm", "500 pF", "-5.400"),
        ("100 kohm", "1 nF", "-10.36"),
    ],
)
def test_table_of_controls_and_cables(whole: str, cable: str, loss_db: str) -> None:
    """Computed table of line-level practice: loss at 20 kHz with the control at half volts."""
    assert agrees(response_db(20e3, **wiper_and_cable(whole, cable)), loss_db)
