"""Corners and square waves read back: textbook worked examples, to the digits given."""

from __future__ import annotations

import math
from typing import Any

import pytest

from stagefx.bench.readings.closed_forms.corners import (
    bass_corner_hz,
    fitted_treble_corner_hz,
    treble_corner_hz,
    treble_level_db,
)
from stagefx.bench.readings.closed_forms.overshoot import SecondOrder, damping_of_overshoot
from stagefx.bench.readings.closed_forms.square_waves import (
    cascade_rise_time_s,
    corner_of_rise_time_hz,
    corner_of_tilt_hz,
    largest_clean_step_v,
    own_rise_time_s,
    root_square_rise_time_s,
    slewing_rise_time_s,
    steepest_slope_v_per_s,
    tilt,
)
from stagefx.bench.readings.derivation import stage_from_readings
from stagefx.bench.readings.files import readings_from
from stagefx.bench.readings.report import BenchStage
from stagefx.circuit.description.files import stage_from
from tests.published.worked import agrees

GAIN = {"of": "gain", "input": "1 V", "output": "4.030303 V"}


def found(*readings: dict[str, Any], like: dict[str, Any] | None = None) -> BenchStage:
    stage = None if like is None else stage_from(like)
    return stage_from_readings(readings_from({"reading": list(readings)}), like=stage)


@pytest.mark.parametrize(
    ("level_db", "corner"),
    [
        (-0.1, "131044.1"),
        (-0.25, "82162.22"),
        (-0.5, "57255.50"),
        (-1.0, "39304.53"),
        (-2.0, "26151.21"),
        (-10.0 * math.log10(2.0), "20000.00"),
    ],
)
def test_e23_corner_of_a_loss_at_20_khz(level_db: float, corner: str) -> None:
    assert agrees(treble_corner_hz(20e3, level_db), corner)
    # a sheet's levels are re 1 kHz, where a little is lost already
    there = treble_level_db(20e3, float(corner), reference_hz=1e3)
    reading = {"of": "response", "frequency": "20 kHz", "level": f"{there!r} dB"}
    told = found(GAIN, reading | {"uncertainty": "0.01 dB"})
    assert told.figure("high_corner_hz").value == pytest.approx(float(corner), rel=1e-7)


def test_e23_half_a_decibel_down_is_not_the_corner() -> None:
    told = found(GAIN, {"of": "response", "frequency": "20 kHz", "level": "-0.5 dB"})
    assert told.figure("high_corner_hz").value > 2.5 * 20e3
    assert "not-the-corner" in {remark.code for remark in told.remarks}


def test_e23c_two_poles_by_least_squares() -> None:
    """Two of 57 255.5 Hz: 1.0 dB at 20 kHz and 3.0103 dB at 36 849.38 Hz."""
    points = [(20e3, -1.0), (36_849.38, -10.0 * math.log10(2.0))]
    one = fitted_treble_corner_hz(points, [1.0, 1.0])
    assert treble_corner_hz(*points[1]) < one < treble_corner_hz(*points[0])
    readings = [
        {"of": "response", "frequency": f"{hz} Hz", "level": f"{level!r} dB"}
        for hz, level in points
    ]
    loading = {"of": "output-loading", "open": "1 V", "loaded": "0.95 V", "load": "1 kohm"}
    fine = [reading | {"uncertainty": "0.005 dB"} for reading in readings]
    told = found(GAIN, loading, *fine)
    assert "two-corners" in {remark.code for remark in told.remarks}
    assert all(check.agrees for check in told.checks)
    assert told.stage.input is not None
    assert told.stage.output_cable is not None


@pytest.mark.parametrize(
    ("level_db", "corner"),
    [
        pytest.param(-0.027415, "1.5915", id="E24"),
        pytest.param(-2.130546, "15.9155", id="E25"),
        pytest.param(-0.122749, "3.3863", id="E26"),
        pytest.param(-0.295307, "5.3052", id="E26-3u"),
    ],
)
def test_bass_corner_of_a_loss_at_20_hz(level_db: float, corner: str) -> None:
    assert agrees(bass_corner_hz(20.0, level_db), corner)


def test_e25_a_scalar_sum_does_not_come_out() -> None:
    assert bass_corner_hz(20.0, -5.085037) > 25.0


@pytest.mark.parametrize(("time_us", "corner"), [(3.496992, "100000.0"), (1.6, "218562.0")])
def test_e30_rise_time_and_corner(time_us: float, corner: str) -> None:
    assert corner_of_rise_time_hz(time_us * 1e-6) == pytest.approx(float(corner), rel=1e-6)
    assert not agrees(corner_of_rise_time_hz(1.6e-6), "218750.0"), "the rule of 0.35"


def test_e31_the_generators_edge_taken_out() -> None:
    assert agrees(1e6 * root_square_rise_time_s(2.0e-6, 1.2e-6), "1.6000")
    assert agrees(1e6 * cascade_rise_time_s(1.6e-6, 1.2e-6), "2.150042")
    assert agrees(1e6 * own_rise_time_s(2.150042e-6, 1.2e-6), "1.60000")
    assert 1e6 * own_rise_time_s(2.0e-6, 1.2e-6) < 1.45, "root-square would say 1.6"


def test_e31_in_a_sheet() -> None:
    edge = {"of": "rise-time", "time": "2.150042 us", "generator": "1.2 us"}
    told = found(GAIN, edge | {"uncertainty": "10 ns"})
    assert agrees(1e6 * told.figure("rise_time_s").value, "1.60000")
    assert agrees(1e6 * told.figure("rise_time_root_square_s").value, "1.784")
    assert "by root-square it would be 1.784 us" in told.figure("rise_time_s").note
    assert told.figure("high_corner_hz").value == pytest.approx(218_562.0, rel=1e-5)
    assert all(check.agrees for check in told.checks)


def test_e32_three_definitions_of_one_tilt() -> None:
    shares = {name: 100.0 * tilt(1.591549431, 50.0, name) for name in SHARES}
    for name, printed in SHARES.items():
        assert agrees(shares[name], printed)
        assert corner_of_tilt_hz(shares[name] / 100.0, 50.0, name) == pytest.approx(
            1.591549431, rel=1e-12
        )


SHARES = {"one top": "9.516258", "half peak-to-peak": "9.991675", "rule": "10.00000"}


@pytest.mark.parametrize(
    ("definition", "corner"), [("rule", "6.366198"), ("half peak-to-peak", "6.387547")]
)
def test_e33_corner_of_a_tilt(definition: str, corner: str) -> None:
    assert agrees(corner_of_tilt_hz(0.2, 100.0, definition), corner)
    reading = {"of": "tilt", "percent": "20 %", "frequency": "100 Hz", "definition": definition}
    told = found(GAIN, reading)
    assert agrees(told.figure("tilt_corner_hz").value, corner)
    assert told.figure("low_corner_hz").value == pytest.approx(float(corner), rel=1e-4)
    assert all(check.agrees for check in told.checks)


def test_e34_a_corner_and_a_slew_rate() -> None:
    assert agrees(1e-6 * steepest_slope_v_per_s(10.0, 100e3), "6.283185")
    assert agrees(1e6 * slewing_rise_time_s(10.0, 9e6), "0.888889")


def test_e34_a_slope_that_is_the_corners_is_remarked() -> None:
    level = treble_level_db(20e3, 100e3, reference_hz=1e3)
    response = {"of": "response", "frequency": "20 kHz", "level": f"{level!r} dB"}
    slew = {"of": "slew", "rise": "6.0 V/us", "fall": "6.0 V/us", "step": "10 V p-p"}
    told = found(GAIN, response | {"uncertainty": "0.01 dB"}, slew)
    (remark,) = (r for r in told.remarks if r.code == "slope-of-the-corner")
    assert "6.283 V/us" in remark.sentence
    larger = found(GAIN, response | {"uncertainty": "0.01 dB"}, slew | {"step": "25 V p-p"})
    assert "slope-of-the-corner" not in {r.code for r in larger.remarks}


def test_e34_an_edge_that_slews_tells_no_corner() -> None:
    edge = {"of": "rise-time", "time": "0.9 us", "step": "10 V p-p", "generator": "10 ns"}
    told = found(GAIN, edge, {"of": "slew", "rise": "9 V/us", "fall": "9 V/us"})
    assert "rise-time-slews" in {remark.code for remark in told.remarks}
    assert told.stage.input is None
    assert "high_corner_hz" not in {figure.key for figure in told.figures}


def test_e35_largest_clean_step() -> None:
    assert agrees(largest_clean_step_v(9e6, 2.5e6), "0.572958")


@pytest.mark.parametrize(
    ("percent", "zeta", "quality", "peaking", "margin"),
    [
        (5, "0.690107", "0.724526", "0.009812", "64.625"),
        (25, "0.403713", "1.238504", "2.630613", "43.463"),
        (50, "0.215454", "2.320684", "7.518749", "24.292"),
    ],
)
def test_e36_what_an_overshoot_tells(
    percent: int, zeta: str, quality: str, peaking: str, margin: str
) -> None:
    second = SecondOrder(damping_of_overshoot(percent / 100.0))
    assert agrees(second.damping, zeta)
    assert agrees(second.quality, quality)
    assert agrees(second.peaking_db, peaking)
    assert agrees(second.phase_margin_deg, margin)
    told = found(
        {"of": "gain", "input": "1 V", "output": "1 V"},
        {"of": "overshoot", "percent": f"{percent} %", "ringing": "3 MHz", "uncertainty": "1 %"},
    )
    assert agrees(told.figure("phase_margin_deg").value, margin)
    assert agrees(told.figure("peaking_db").value, peaking)
    assert all(check.agrees for check in told.checks)


def test_e36_the_stage_found_has_that_margin_and_peak() -> None:
    from stagefx.figures.table import compute_figures

    told = found(
        {"of": "gain", "input": "1 V", "output": "1 V"},
        {
            "of": "overshoot",
            "percent": "25 %",
            "ringing": "3 MHz",
            "uncertainty": {"percent": "0.001 %", "ringing": "0.001 %"},
        },
    )
    figures = compute_figures(told.stage).figures
    assert figures["phase_margin_deg"].value == pytest.approx(43.463, abs=2e-3)
    assert figures["overshoot_percent"].value == pytest.approx(25.0, abs=2e-3)
    assert figures["peaking_db"].value == pytest.approx(2.630613, abs=2e-3)


def test_e36b_a_loads_overshoot_tells_the_output_resistance() -> None:
    """A buffer of 10 MHz with 100 ohm inside rings by 52.755 % with 1 nF (simulated)."""
    told = found(
        {"of": "overshoot", "percent": "52.755 %", "load_capacitance": "1 nF"},
        like={"amplifier": {"topology": "follower", "gain_bandwidth": "10 MHz"}},
    )
    assert told.figure("open_loop_output_resistance_ohm").value == pytest.approx(100.0, abs=0.01)
