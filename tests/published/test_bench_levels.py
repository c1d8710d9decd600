"""Levels as meters read them: definitions and textbook worked examples, to the digits given."""

from __future__ import annotations

import math
from typing import Any

import pytest

from stagefx.bench.readings.closed_forms.levels import average_reading_error_db
from stagefx.bench.readings.derivation import stage_from_readings
from stagefx.bench.readings.files import readings_from
from stagefx.bench.readings.report import BenchStage
from stagefx.bench.readings.sheet import Sheet
from stagefx.units import decibels
from tests.published.worked import agrees


def found(*readings: dict[str, Any]) -> BenchStage:
    return stage_from_readings(readings_from({"reading": list(readings)}))


def gain_db(given: str, output: str) -> float:
    return found({"of": "gain", "input": given, "output": output}).figure("amplifier_gain_db").value


@pytest.mark.parametrize(
    ("given", "output", "level_db"),
    [
        pytest.param("1 V rms", "2.000 V rms", "6.0206", id="E01-dBV"),
        pytest.param("0 dBu", "2.000 V rms", "8.2391", id="E01-dBu"),
        pytest.param("-10 dBV", "4 dBu", "11.7815", id="E02"),
        pytest.param("2 V rms", "2.82843 V peak", "0.0000", id="E04-peak"),
        pytest.param("2 V rms", "5.65685 V p-p", "0.0000", id="E04-p-p"),
        pytest.param("0.316228 V rms", "-10 dBV", "0.0000", id="E02-dBV"),
    ],
)
def test_levels_by_definition(given: str, output: str, level_db: str) -> None:
    assert agrees(gain_db(given, output), level_db)


def test_e01_doubling_volts_is_not_three_decibels() -> None:
    assert not agrees(gain_db("1 V rms", "2 V rms"), "3.01")


@pytest.mark.parametrize(
    ("hz", "shown", "loss_db"),
    [
        ("1.28 kHz", 0.974, "-0.22882"),
        ("2.56 kHz", 0.895, "-0.96354"),
        ("10.24 kHz", 0.397, "-8.02419"),
    ],
)
def test_e05_a_meter_reads_low_and_the_stage_is_not_to_blame(
    hz: str, shown: float, loss_db: str
) -> None:
    """A published table of one hand-held meter."""
    reading: dict[str, Any] = {"of": "response", "frequency": hz, "reference": "1 V"}
    reading |= {"output": f"{shown} V"}
    key = f"response_{hz.split(maxsplit=1)[0]}_khz_db"
    bare = found(reading).figure(key).value
    assert agrees(bare, loss_db)
    meter = [["100 Hz", "0 dB"], ["1 kHz", "0 dB"], [hz, f"{decibels(shown)!r} dB"]]
    told = found(reading | {"meter": meter})
    assert told.figure(key).value == pytest.approx(0.0, abs=1e-9)
    assert "all-of-it-the-meter" in {remark.code for remark in told.remarks}
    assert told.stage.amplifier is None
    assert told.stage.input is None


def test_e06_treble_in_volts() -> None:
    volts = {"output": "1.874 V", "reference": "1.980 V", "frequency": "20 kHz"}
    assert agrees(found({"of": "response"} | volts).figure("response_20_khz_db").value, "-0.47791")


def test_e06_a_probe_that_was_not_told_of_is_twenty_decibels() -> None:
    reading = {"of": "gain", "input": "1 V", "output": "0.2 V"}
    assert agrees(
        found(reading | {"probe": 10}).figure("amplifier_gain_db").value - decibels(0.2),
        "20.0000",
    )


@pytest.mark.parametrize(
    ("wave", "error_db"), [("square", "0.91210"), ("triangle", "-0.33729"), ("noise", "-1.04910")]
)
def test_e06_meters_that_respond_to_the_average(wave: str, error_db: str) -> None:
    assert agrees(average_reading_error_db(wave), error_db)
    reading = {"of": "balance", "left": "1 V", "right": "1 V", "wave": wave}
    sheet = Sheet(readings_from({"reading": [reading | {"responds": "average"}]}))
    assert agrees(-decibels(sheet.value(1, "left").value), error_db)


@pytest.mark.parametrize(
    ("volts", "uncertainty", "error_db"),
    [
        ("500 mV", "1 mV", "0.017354"),
        ("50 mV", "1 mV", "0.172003"),
        ("192 mV", "1 mV", "0.045122"),
        ("1 V", "3 %", "0.256744"),
    ],
)
def test_e06b_what_a_count_is_worth(volts: str, uncertainty: str, error_db: str) -> None:
    reading = {"of": "balance", "left": volts, "right": volts, "uncertainty": uncertainty}
    sheet = Sheet(readings_from({"reading": [reading]}))
    read = sheet.value(1, "left")
    assert agrees(decibels(read.high / read.value), error_db)


def test_e41_gain_of_the_reference_stage() -> None:
    assert agrees(gain_db("1 V", f"{1.0 + 10.0 / 3.3!r} V"), "12.10675")


def test_e44_the_output_of_two_volts() -> None:
    """2 V into the reference gain: 8.060606 V rms, 11.39942 V peak."""
    assert gain_db("2 V rms", "8.060606 V rms") == pytest.approx(12.10675, abs=1e-5)
    assert gain_db("2 V rms", "11.39942 V peak") == pytest.approx(12.10675, abs=1e-5)
    assert math.isclose(8.060606 * math.sqrt(2.0), 11.39942, rel_tol=1e-6)
