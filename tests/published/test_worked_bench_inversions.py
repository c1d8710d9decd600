"""From a reading to what made it, against textbook worked examples (circuit theory).

The wrong answers that are often given are tested not to come out.
"""

from __future__ import annotations

import numpy as np
import pytest

from stagefx.bench.readings.closed_forms import (
    corners,
    crosstalk,
    levels,
    loading,
    overshoot,
    square_waves,
)


@pytest.mark.parametrize(
    ("open_v", "loaded_v", "load_ohm", "source_ohm"),
    [
        (1.000, 0.953, 1e3, 49.318),
        (1.001, 0.952, 1e3, 51.471),
        (0.999, 0.954, 1e3, 47.170),
        (1.000, 0.995, 10e3, 50.251),
        (1.001, 0.994, 10e3, 70.423),
        (0.999, 0.996, 10e3, 30.120),
    ],
)
def test_output_resistance_from_loading(
    open_v: float, loaded_v: float, load_ohm: float, source_ohm: float
) -> None:
    found = loading.output_resistance_ohm(open_v, loaded_v, load_ohm)
    assert found == pytest.approx(source_ohm, abs=6e-4)


def test_input_resistance_is_found_by_a_resistor_in_series() -> None:
    through = 47e3 / (47e3 + 10e3)
    assert loading.input_resistance_ohm(1.0, through, 10e3) == pytest.approx(47e3)


@pytest.mark.parametrize(
    ("level_db", "corner_hz"),
    [
        (-0.1, 131_044.1),
        (-0.25, 82_162.22),
        (-0.5, 57_255.50),
        (-1.0, 39_304.53),
        (-2.0, 26_151.21),
    ],
)
def test_treble_corner_from_one_point(level_db: float, corner_hz: float) -> None:
    assert corners.treble_corner_hz(20e3, level_db) == pytest.approx(corner_hz, rel=5e-7)
    assert corners.treble_level_db(20e3, corner_hz) == pytest.approx(level_db, abs=1e-6)


def test_several_points_agree_on_one_corner() -> None:
    points = [(hz, corners.treble_level_db(hz, 57_255.5)) for hz in (5e3, 10e3, 20e3)]
    assert corners.fitted_treble_corner_hz(points, [1.0] * 3) == pytest.approx(57_255.5, rel=1e-6)


@pytest.mark.parametrize(
    ("corner_hz", "level_db"), [(1.591549, -0.027415), (15.91549, -2.130546), (5.305165, -0.295307)]
)
def test_bass_corner_from_one_point(corner_hz: float, level_db: float) -> None:
    assert corners.bass_level_db(20.0, corner_hz) == pytest.approx(level_db, abs=1e-6)
    assert corners.bass_corner_hz(20.0, level_db) == pytest.approx(corner_hz, rel=2e-5)
    # adding resistance and reactance as plain numbers gives 5.09 dB for 1 uF into 10 kohm
    assert corners.bass_level_db(20.0, 15.91549) > -3.0


def test_rise_time_and_corner() -> None:
    assert square_waves.corner_of_rise_time_hz(1.6e-6) == pytest.approx(218_562.0, abs=0.05)
    assert square_waves.corner_of_rise_time_hz(3.496992e-6) == pytest.approx(100e3, rel=1e-6)


def test_a_generators_rise_time_is_removed_exactly() -> None:
    """1.6 and 1.2 us in a row are 2.150042 us; root-square arithmetic would say 2.000."""
    assert square_waves.cascade_rise_time_s(1.6e-6, 1.2e-6) == pytest.approx(2.150042e-6, abs=5e-13)
    assert square_waves.own_rise_time_s(2.150042e-6, 1.2e-6) == pytest.approx(1.6e-6, rel=1e-5)
    assert square_waves.root_square_rise_time_s(2.0e-6, 1.2e-6) == pytest.approx(1.6e-6)
    assert square_waves.own_rise_time_s(2.0e-6, 1.2e-6) < 1.5e-6


@pytest.mark.parametrize(
    ("definition", "percent"),
    [("one top", 9.516258), ("half peak-to-peak", 9.991675), ("rule", 10.00000)],
)
def test_tilt_by_each_of_its_three_definitions(definition: str, percent: float) -> None:
    found = 100.0 * square_waves.tilt(1.591549, 50.0, definition)
    assert found == pytest.approx(percent, abs=5e-6)


@pytest.mark.parametrize(
    ("definition", "corner_hz"), [("rule", 6.366198), ("half peak-to-peak", 6.387547)]
)
def test_corner_of_a_tilt(definition: str, corner_hz: float) -> None:
    found = square_waves.corner_of_tilt_hz(0.2, 100.0, definition)
    assert found == pytest.approx(corner_hz, abs=5e-7)


def test_slopes_and_steps() -> None:
    assert square_waves.steepest_slope_v_per_s(10.0, 100e3) == pytest.approx(6.283185e6, rel=1e-6)
    assert square_waves.slewing_rise_time_s(10.0, 9e6) == pytest.approx(0.888889e-6, rel=1e-6)
    assert square_waves.largest_clean_step_v(9e6, 2.5e6) == pytest.approx(0.572958, abs=5e-7)


@pytest.mark.parametrize(("percent", "zeta"), [(5.0, 0.690107), (25.0, 0.403713), (50.0, 0.215454)])
def test_overshoot_tells_damping(percent: float, zeta: float) -> None:
    assert overshoot.damping_of_overshoot(percent / 100.0) == pytest.approx(zeta, abs=5e-7)


@pytest.mark.parametrize(
    ("wave", "error_db"), [("square", 0.91210), ("triangle", -0.33729), ("noise", -1.04910)]
)
def test_average_reading_meters_on_other_waves(wave: str, error_db: float) -> None:
    assert levels.average_reading_error_db(wave) == pytest.approx(error_db, abs=6e-6)


@pytest.mark.parametrize(
    ("ohm", "level_db"), [(12.5e3, -48.11887), (2.5e3, -62.09821), (100.0, -90.05700)]
)
def test_crosstalk_through_a_stray_capacitance(ohm: float, level_db: float) -> None:
    share = crosstalk.crosstalk_share(10e3, complex(ohm), capacitance_f=5e-12)
    assert 20.0 * np.log10(share) == pytest.approx(level_db, abs=5e-6)
    assert crosstalk.coupling_capacitance_f(share, 10e3, complex(ohm)) == pytest.approx(5e-12)
