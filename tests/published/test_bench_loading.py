"""Resistances by loading: textbook worked examples, to the digits given."""

from __future__ import annotations

from typing import Any

import pytest

from stagefx.bench.readings.derivation import stage_from_readings
from stagefx.bench.readings.files import readings_from
from stagefx.bench.readings.report import BenchStage
from stagefx.circuit.description.files import stage_from
from stagefx.figures.table import compute_figures
from tests.published.worked import agrees


def loading(**reading: Any) -> BenchStage:
    reading |= {"of": "output-loading", "uncertainty": "1 mV"}
    return stage_from_readings(readings_from({"reading": [reading]}))


@pytest.mark.parametrize(
    ("loaded", "load", "resistance", "low", "high"),
    [
        pytest.param("0.953 V", "1 kohm", "49.318", "47.170", "51.471", id="E10"),
        pytest.param("0.995 V", "10 kohm", "50.251", "30.120", "70.423", id="E11"),
    ],
)
def test_output_resistance_with_its_range(
    loaded: str, load: str, resistance: str, low: str, high: str
) -> None:
    found = loading(open="1.000 V", loaded=loaded, load=load).figure("output_resistance_ohm")
    assert agrees(found.value, resistance)
    assert agrees(found.measured.low, low)
    assert agrees(found.measured.high, high)
    assert found.uncertainty < 0.5 * (found.measured.high - found.measured.low)


def test_e11_a_light_load_cannot_tell() -> None:
    light = {r.code for r in loading(open="1 V", loaded="0.995 V", load="10 kohm").remarks}
    heavy = {r.code for r in loading(open="1 V", loaded="0.953 V", load="1 kohm").remarks}
    assert "load-too-light" in light
    assert "load-too-light" not in heavy


def test_half_volts_into_a_heavy_load_is_warned_of() -> None:
    """1 V rms into 50 ohm asks for 14 mA peak and may clip or limit."""
    remarks = loading(open="1 V", loaded="0.5 V", load="50 ohm").remarks
    (heavy,) = (remark for remark in remarks if remark.code == "load-too-heavy")
    assert "14 mA peak" in heavy.sentence


@pytest.mark.parametrize(
    ("whole", "ratio", "wiper"),
    [
        pytest.param(10e3, 0.5, 2500.0, id="E12-10k"),
        pytest.param(50e3, 0.5, 12_500.0, id="E12-50k"),
        pytest.param(100e3, 0.5, 25_000.0, id="E12-100k"),
        pytest.param(50e3, 0.1, 4500.0, id="E14-20dB"),
        pytest.param(50e3, 0.01, 495.0, id="E14-40dB"),
    ],
)
def test_a_wiper_tells_its_control(whole: float, ratio: float, wiper: float) -> None:
    like = stage_from({"volume": {"resistance": "22 kohm", "taper": "linear", "position": ratio}})
    loaded = 1e4 / (1e4 + wiper)
    reading = {"of": "output-loading", "open": "1 V", "loaded": f"{loaded!r} V", "load": "10 kohm"}
    sheet = readings_from({"knob": ratio, "reading": [reading | {"uncertainty": "1 uV"}]})
    found = stage_from_readings(sheet, like=like)
    assert found.figure("output_resistance_ohm").value == pytest.approx(wiper, rel=1e-9)
    assert found.figure("volume_resistance_ohm").value == pytest.approx(whole, rel=1e-9)
    figures = compute_figures(found.stage).figures
    assert figures["wiper_resistance_ohm"].value == pytest.approx(wiper, rel=1e-4)


def test_a_sources_resistance_by_the_same_reading() -> None:
    reading = {"of": "output-loading", "at": "source", "open": "2 V", "load": "10 kohm"}
    sheet = readings_from({"reading": [reading | {"loaded": "1.886793 V", "uncertainty": "1 mV"}]})
    found = stage_from_readings(sheet)
    assert found.figure("source_resistance_ohm").value == pytest.approx(600.0, abs=1e-2)
    assert found.stage.source.resistance.value == pytest.approx(600.0, abs=0.1)


def test_e08_the_input_of_a_control_and_a_resistor() -> None:
    """10 kohm and 47 kohm in parallel: 8245.614 ohm."""
    like = stage_from(
        {
            "volume": {"resistance": "12 kohm"},
            "input": {"resistance": "47 kohm"},
            "amplifier": {"topology": "follower"},
        }
    )
    through = 8245.614 / (8245.614 + 10e3)
    reading = {"of": "input-loading", "direct": "1 V", "through": f"{through!r} V"}
    sheet = readings_from({"reading": [reading | {"resistance": "10 kohm"}]})
    found = stage_from_readings(sheet, like=like)
    assert agrees(found.figure("input_resistance_ohm").value, "8245.614")
    assert found.figure("volume_resistance_ohm").value == pytest.approx(10e3, rel=1e-6)
