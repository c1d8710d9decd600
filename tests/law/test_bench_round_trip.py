"""Readings worked out from a stage's own figures lead back to a stage with those figures."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from stagefx.bench.readings.closed_forms.corners import (
    bass_corner_hz,
    bass_level_db,
    fitted_bass_corner_hz,
    fitted_treble_corner_hz,
    treble_corner_hz,
    treble_level_db,
)
from stagefx.bench.readings.closed_forms.square_waves import cascade_rise_time_s, own_rise_time_s
from stagefx.bench.readings.derivation import stage_from_readings
from stagefx.bench.readings.files import readings_from
from stagefx.bench.uncertainty import carry, combined, rounded, stated
from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.response import Response
from stagefx.figures.table import compute_figures
from tests.oracle.random_stages import random_stage

SURE = {"uncertainty": "0.01 %"}
DOUBT_DB = 9e-4
"""The same in decibels."""


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(math.log(low), math.log(high)).map(math.exp)


@st.composite
def plain_stages(draw: st.DrawFn) -> dict[str, Any]:
    """An amplifier with its figures, a filter before it and a resistor after it."""
    high, low = draw(between(5.0, 20.0)), draw(between(5.0, 20.0))
    return {
        "input": {
            "series_resistance": f"{draw(between(100.0, 5e3))!r} ohm",
            "shunt_capacitance": f"{draw(between(0.2e-9, 2e-9))!r} F",
            "coupling": f"{draw(between(0.5e-6, 5e-6))!r} F",
            "resistance": f"{draw(between(20e3, 500e3))!r} ohm",
        },
        "amplifier": {
            "gain": draw(between(1.3, 30.0)),
            "slew_rise": f"{draw(between(0.3, 100.0))!r} V/us",
            "slew_fall": f"{draw(between(0.3, 100.0))!r} V/us",
            "swing_loss_high": f"{draw(st.floats(0.0, 3.0))!r} V",
            "swing_loss_low": f"{draw(st.floats(0.0, 3.0))!r} V",
            "voltage_noise": f"{draw(between(5e-9, 40e-9))!r} V/rtHz",
            "offset_voltage": f"{draw(st.floats(0.1, 5.0))!r} mV",
        },
        "supply": {"positive": f"{high!r} V", "negative": f"{-low!r} V"},
        "output": {"resistance": f"{draw(between(20.0, 1e3))!r} ohm"},
    }


def figures_of(stage: Stage) -> dict[str, float]:
    return {
        key: figure.value
        for key, figure in compute_figures(stage).figures.items()
        if figure.value is not None
    }


def eight_readings(stage: Stage) -> list[dict[str, Any]]:
    """What instruments would say of a stage, from its figures on paper."""
    told = figures_of(stage)
    amplifier, supply = stage.amplifier, stage.supply
    assert amplifier is not None
    assert supply is not None
    gain = 10.0 ** (told["gain_db"] / 20.0)
    loaded = 1e3 / (1e3 + told["output_impedance_ohm"])
    direct = told["output_dc_v"]
    return [
        {"of": "gain", "input": "0.1 V rms", "output": f"{0.1 * gain!r} V rms"},
        {"of": "response", "frequency": "20 kHz", "level": f"{told['response_20_khz_db']!r} dB"},
        {"of": "response", "frequency": "20 Hz", "level": f"{told['response_20_hz_db']!r} dB"},
        {
            "of": "clip",
            "high": f"{told['clip_high_v'] + direct!r} V",
            "low": f"{told['clip_low_v'] + direct!r} V",
        },
        {"of": "output-loading", "open": "1 V", "loaded": f"{loaded!r} V", "load": "1 kohm"},
        {
            "of": "slew",
            "rise": f"{amplifier.slew_rise.value!r} V/s",
            "fall": f"{amplifier.slew_fall.value!r} V/s",
        },
        {
            "of": "noise",
            "level": f"{told['noise_20k_v_rms']!r} V rms",
            "source_resistance": "0 ohm",
        },
        {
            "of": "rail",
            "positive": f"{supply.positive.value!r} V",
            "negative": f"{supply.negative.value!r} V",
        },
        {"of": "offset", "output": f"{direct!r} V"},
    ]


REPRODUCED = (
    "gain_db",
    "response_20_khz_db",
    "response_20_hz_db",
    "output_impedance_ohm",
    "clip_high_v",
    "clip_low_v",
    "slew_available_v_per_us",
    "noise_20k_v_rms",
    "output_dc_v",
)


@settings(max_examples=25)
@given(plain_stages())
def test_eight_readings_lead_back_to_the_figures(tables: dict[str, Any]) -> None:
    truth = stage_from(tables)
    readings = [reading | SURE for reading in eight_readings(truth)]
    found = stage_from_readings(readings_from({"reading": readings}))
    assert all(check.agrees for check in found.checks)
    before, after = figures_of(truth), figures_of(found.stage)
    for key in REPRODUCED:
        assert after[key] == pytest.approx(before[key], rel=3e-4, abs=DOUBT_DB), key


@settings(max_examples=10)
@given(plain_stages(), st.floats(0.3, 1.7), st.floats(0.7, 1.4))
def test_readings_correct_a_stage_that_was_described_wrongly(
    tables: dict[str, Any], less: float, other: float
) -> None:
    truth = stage_from(tables)
    readings = [reading | SURE for reading in eight_readings(truth)]
    wrong = {key: dict(table) for key, table in tables.items()}
    wrong["amplifier"] |= {"gain": max(1.0, tables["amplifier"]["gain"] * other)}
    wrong["amplifier"] |= {"slew_rise": "5 V/us", "voltage_noise": "5 nV/rtHz"}
    wrong["input"]["shunt_capacitance"] = f"{0.5 * less!r} nF"
    wrong["output"] = {"resistance": "75 ohm"}
    found = stage_from_readings(readings_from({"reading": readings}), like=stage_from(wrong))
    after = found.stage
    assert after.amplifier is not None
    assert truth.amplifier is not None
    # the filter's capacitor and the coupling one share a little of the gain between them
    assert after.amplifier.gain == pytest.approx(truth.amplifier.gain, rel=5e-3)
    before, now = figures_of(truth), figures_of(after)
    for key in REPRODUCED:
        assert now[key] == pytest.approx(before[key], rel=3e-4, abs=DOUBT_DB), key
    assert all(check.agrees for check in found.checks)


@pytest.mark.parametrize("seed", range(12))
def test_gain_and_response_of_any_network(seed: int) -> None:
    """All topologies, controls before and after, capacitors anywhere."""
    tables = random_stage(seed)
    truth, knob = stage_from(tables), tables["volume"]["position"]
    bare = {key: table for key, table in tables.items() if key not in {"output_cable", "load"}}
    driven = bare | {"source": {}, "input_cable": {"capacitance": "0 F"}}
    hz = np.array([1e3, 40.0, 50e3])
    curve = np.abs(Response(nominal(stage_from(driven)), hz).to_load[0])
    readings = [{"of": "gain", "input": "1 V", "output": f"{float(curve[0])!r} V"} | SURE]
    readings += [
        {"of": "response", "frequency": f"{f} Hz", "level": f"{20 * math.log10(c / curve[0])!r} dB"}
        | {"uncertainty": "0.01 dB"}
        for f, c in zip(hz[1:], curve[1:], strict=True)
    ]
    wrong = {key: dict(table) for key, table in tables.items()}
    if truth.amplifier is not None and truth.amplifier.topology != "follower":
        wrong["amplifier"]["feedback_resistance"] = "4.321 kohm"
    sheet = readings_from({"knob": knob, "reading": readings})
    found = stage_from_readings(sheet, like=stage_from(wrong))
    assert all(check.agrees for check in found.checks)
    assert found.stage.load == truth.load
    if "feedback_resistance_ohm" in {figure.key for figure in found.figures}:
        assert truth.amplifier is not None
        assert truth.amplifier.feedback_resistance is not None
        value = found.figure("feedback_resistance_ohm").value
        assert value == pytest.approx(truth.amplifier.feedback_resistance.value, rel=3e-3)


@given(between(3e3, 1e6), between(5e3, 1e6))
def test_corners_and_levels_undo_each_other(hz: float, corner: float) -> None:
    level = treble_level_db(hz, corner, reference_hz=1e3)
    told = (
        treble_corner_hz(hz, level, reference_hz=1e3),
        fitted_treble_corner_hz([(hz, level)], [1.0], reference_hz=1e3),
    )
    assert told == pytest.approx((corner, corner), rel=1e-6)
    low_hz, low = 1e6 / hz, 1e6 / corner
    level = bass_level_db(low_hz, low, reference_hz=1e3)
    told = (
        bass_corner_hz(low_hz, level, reference_hz=1e3),
        fitted_bass_corner_hz([(low_hz, level)], [1.0], reference_hz=1e3),
    )
    assert told == pytest.approx((low, low), rel=1e-6)


@given(between(1e-7, 1e-4), between(1e-7, 1e-4))
def test_a_generators_edge_comes_out_as_it_went_in(own_s: float, generator_s: float) -> None:
    seen = cascade_rise_time_s(own_s, generator_s)
    assert max(own_s, generator_s) <= seen <= own_s + generator_s
    if own_s > 0.03 * generator_s:
        assert own_rise_time_s(seen, generator_s) == pytest.approx(own_s, rel=1e-6)


def test_a_part_is_as_unsure_as_its_corner() -> None:
    readings = [
        {"of": "gain", "input": "1 V", "output": "4 V"},
        {"of": "response", "frequency": "20 kHz", "level": "-1 dB", "uncertainty": "0.1 dB"},
    ]
    found = stage_from_readings(readings_from({"reading": readings}))
    corner, part = (found.figure(k) for k in ("high_corner_hz", "input_shunt_capacitance_f"))
    assert part.uncertainty / part.value == pytest.approx(
        corner.uncertainty / corner.value, rel=0.01
    )


@given(st.floats(-100.0, 100.0), st.floats(1e-6, 10.0), st.floats(-5.0, 5.0))
def test_a_straight_law_carries_its_uncertainty(value: float, doubt: float, slope: float) -> None:
    found = carry(lambda x: slope * x + 1.0, stated(value, doubt))
    assert found.uncertainty == pytest.approx(abs(slope) * doubt, rel=1e-5, abs=1e-9)
    assert found.half_range == pytest.approx(abs(slope) * doubt, rel=1e-9, abs=1e-12)


@given(st.lists(st.tuples(st.floats(-5.0, 5.0), st.floats(0.01, 2.0)), min_size=1, max_size=5))
def test_a_mean_is_surer_than_its_surest(rows: list[tuple[float, float]]) -> None:
    found = combined([stated(value, doubt) for value, doubt in rows])
    values = [value for value, _ in rows]
    assert min(values) - 1e-9 <= found.value <= max(values) + 1e-9
    assert found.uncertainty <= min(doubt for _, doubt in rows) * (1.0 + 1e-6)


@given(st.floats(1e-12, 1e12), st.floats(1e-6, 1.0))
def test_rounding_stays_within_a_hundredth_of_the_uncertainty(value: float, share: float) -> None:
    doubt = share * value
    assert abs(rounded(value, doubt) - value) <= 0.0101 * doubt
