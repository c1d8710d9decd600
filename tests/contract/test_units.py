"""Values with units: what is understood, what is refused and in which words, and the way back."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, strategies as st

from stagefx.circuit.description.fields import written
from stagefx.errors import UnitError
from stagefx.units import UNITS, Quantity, decibels, known_unit, parse, ratio, show

SIZES = st.floats(1e-15, 1e12)
SIGNED = st.one_of(SIZES, SIZES.map(lambda size: -size), st.just(0.0))
UNIT_NAMES = sorted(UNITS)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("4.7 kohm", "ohm", 4700.0),
        ("4.7kohm", "ohm", 4700.0),
        ("10 kΩ", "ohm", 10e3),
        ("10 k\u2126", "ohm", 10e3),  # the ohm sign, which is not the Greek letter
        ("10 Kohm", "ohm", 10e3),
        (".5 ohm", "ohm", 0.5),
        ("+22 ohm", "ohm", 22.0),
        ("1e3 ohm", "ohm", 1e3),
        ("1 mohm", "ohm", 1e-3),
        ("1 Mohm", "ohm", 1e6),
        ("100 pF/m", "F/m", 100e-12),
        ("1 uF", "F", 1e-6),
        ("1 \u00b5F", "F", 1e-6),  # the micro sign
        ("1 \u03bcF", "F", 1e-6),  # the Greek letter
        ("2.2 V/us", "V/s", 2.2e6),
        ("2.2 V/\u00b5s", "V/s", 2.2e6),
        ("2.2 V/\u03bcs", "V/s", 2.2e6),
        ("500 V/ms", "V/s", 5e5),
        ("7 nV/rtHz", "V/rtHz", 7e-9),
        ("7 nV/√Hz", "V/rtHz", 7e-9),
        ("0.7 pA/rtHz", "A/rtHz", 0.7e-12),
        ("5 mm", "m", 0.005),
        ("5 cm", "m", 0.05),
        ("1.5 metres", "m", 1.5),
        ("-12 dB", "dB", -12.0),
        ("28 dBA", "dBA", 28.0),
        ("28 dB(A)", "dBA", 28.0),
        ("15 %", "%", 0.15),
        ("25 degC", "K", 298.15),
        ("25 °C", "K", 298.15),
        ("300 K", "K", 300.0),
        ("-15 V", "V", -15.0),
        ("200 nA", "A", 200e-9),
    ],
)
def test_what_people_type(text: str, unit: str, value: float) -> None:
    assert parse(text, unit).value == pytest.approx(value, rel=1e-15, abs=0.0)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("2 V rms", "V rms", 2.0),
        ("2 Vrms", "V rms", 2.0),
        ("2 V", "V rms", 2.0),
        ("2.8284271247461903 V peak", "V rms", 2.0),
        ("5.656854249492381 V p-p", "V rms", 2.0),
        ("5.656854249492381 Vpp", "V rms", 2.0),
        ("2 V rms", "V peak", 2.8284271247461903),
        ("0.6 V p-p", "V peak", 0.3),
        ("0 dBV", "V rms", 1.0),
        ("0 dBu", "V rms", math.sqrt(0.6)),
        ("150 uV rms", "V rms", 150e-6),
    ],
)
def test_volts_say_how_they_are_meant(text: str, unit: str, value: float) -> None:
    assert parse(text, unit).value == pytest.approx(value, rel=1e-14)


@pytest.mark.parametrize(
    ("text", "tolerance"),
    [
        ("10 kohm 1 %", 0.01),
        ("10 kohm 1%", 0.01),
        ("10 kohm ±1 %", 0.01),
        ("10 kohm±1%", 0.01),
        ("10 kohm +/- 0.5 %", 0.005),
        ("10 kohm", None),
    ],
)
def test_tolerances(text: str, tolerance: float | None) -> None:
    assert parse(text, "ohm") == Quantity(10e3, tolerance)


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("600", "ohm", r'^"600" has no unit; write it in ohm, like "4.7 kohm"$'),
        (600, "ohm", r'^600 has no unit; write it in ohm, like "4.7 kohm"$'),
        ("600 pF", "ohm", r'^"600 pF" is no value in ohm; write it like "4.7 kohm"$'),
        ("4k7", "ohm", "no value in ohm"),
        ("1,000 ohm", "ohm", "no value in ohm"),
        ("", "ohm", "no value in ohm"),
        ("inf ohm", "ohm", "no value in ohm"),
        ("nan ohm", "ohm", "no value in ohm"),
        ("1e400 ohm", "ohm", "no value in ohm"),
        ("-12", "dB", "has no unit; write it in dB"),
        (0, "dB", "has no unit; write it in dB"),
        (0, "K", 'has no unit; write it in degC, like "25 degC"'),
        ("25 C", "K", "no value in degC"),
        ("20 khz", "Hz", "no value in Hz"),
        (True, "ohm", r'^it must be a text with its unit, like "4.7 kohm"$'),
        (["1 ohm"], "ohm", "must be a text with its unit"),
        ("6 dBV", "V", "is a sine voltage where a direct one is needed"),
        ("15 V rms", "V", "is a sine voltage where a direct one is needed"),
        ("10 kohm 150 %", "ohm", "a tolerance of 150 % is more than all of it"),
        ("10 kohm -1 %", "ohm", "no value in ohm"),
        ("5 kdB", "dB", "no value in dB"),
    ],
)
def test_what_is_refused_and_in_which_words(text: object, unit: str, message: str) -> None:
    with pytest.raises(UnitError, match=message):
        parse(text, unit)  # type: ignore[arg-type]


@pytest.mark.parametrize("letter", "bdeghijloqrstvwxyzABCDEFHIJLNOPQRSUVWXYZ_%")
def test_a_letter_that_is_no_prefix_is_refused(letter: str) -> None:
    """Not read as if it were not there."""
    with pytest.raises(UnitError, match="no value in F"):
        parse(f"1 {letter}F", "F")


def test_an_exponent_and_a_prefix_are_two_scales_too_many() -> None:
    with pytest.raises(UnitError, match="no value in ohm"):
        parse("1e3 kohm", "ohm")


@pytest.mark.parametrize("unit", UNIT_NAMES)
def test_every_example_is_accepted(unit: str) -> None:
    assert math.isfinite(parse(known_unit(unit).example, unit).value)


def test_an_unknown_unit_names_the_nearest() -> None:
    with pytest.raises(UnitError, match=r"no unit 'Ohm'; did you mean 'ohm'\?"):
        known_unit("Ohm")


@pytest.mark.parametrize("unit", UNIT_NAMES)
@given(value=SIGNED)
def test_what_is_shown_is_read_back(unit: str, value: float) -> None:
    sized = value if unit not in {"K", "%"} else abs(value) % 1000.0
    absolute = 1e-12 if unit == "K" else 0.0  # counted from another zero
    found = parse(show(sized, unit, digits=17), unit).value
    assert found == pytest.approx(sized, rel=1e-15, abs=absolute)
    assert parse(show(sized, unit), unit).value == pytest.approx(
        sized, rel=5e-4, abs=0.2 if unit == "K" else 0.0
    )


@pytest.mark.parametrize("unit", ["ohm", "F", "F/m", "m", "A", "W", "Hz", "V", "V rms", "V/rtHz"])
@given(value=SIZES, percent=st.one_of(st.none(), st.integers(0, 100)))
def test_what_is_written_in_a_stage_file_is_read_back_exactly(
    unit: str, value: float, percent: int | None
) -> None:
    quantity = Quantity(value, None if percent is None else percent / 100.0)
    assert parse(written(quantity, unit), unit) == quantity


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (4700.0, "ohm", "4.7 kohm"),
        (0.047, "ohm", "47 mohm"),
        (1e6, "ohm", "1 Mohm"),
        (2.2e-6, "F", "2.2 uF"),
        (9e6, "V/s", "9 V/us"),
        (298.15, "K", "25 degC"),
        (-12.0, "dB", "-12 dB"),
        (0.0, "ohm", "0 ohm"),
        (1234.5678, "Hz", "1.235 kHz"),
    ],
)
def test_what_people_read(value: float, unit: str, text: str) -> None:
    assert show(value, unit) == text


@given(level_db=st.floats(-200.0, 200.0))
def test_decibels_there_and_back(level_db: float) -> None:
    assert decibels(ratio(level_db)) == pytest.approx(level_db, abs=1e-9)


def test_decibels_of_nothing() -> None:
    assert decibels(0.0) == -math.inf
