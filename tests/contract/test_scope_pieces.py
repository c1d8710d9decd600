"""The laws that an edge on a scope is read by, and single readings of a trace."""

from __future__ import annotations

import math

import numpy as np
import pytest

from stagefx.bench.scope.crossings import Crossing, crossings, period_points
from stagefx.bench.scope.edge_laws import (
    second_order_edge,
    second_order_rise,
    second_order_step,
    slewing_constant_s,
    slewing_edge,
)
from stagefx.bench.scope.edges import read_edge
from stagefx.bench.scope.spread import slopes_to_spread
from stagefx.bench.scope.swings import read_triangle
from stagefx.bench.scope.tables import Trace
from stagefx.bench.scope.tops import tilt_of
from stagefx.bench.scope.waves import fit_sine, fit_straight

MS = np.arange(1000) * 1e-6
"""A millisecond at a megahertz."""


@pytest.mark.parametrize("damping", [0.2, 0.5, 0.7])
def test_a_second_order_step_overshoots_as_the_textbook_has_it(damping: float) -> None:
    """exp(-pi z / sqrt(1 - z^2)) over its end, at the first half turn of its ringing."""
    ringing = math.sqrt(1.0 - damping**2)
    found = second_order_step(np.array([math.pi / ringing]), damping)[0] - 1.0
    assert found == pytest.approx(math.exp(-math.pi * damping / ringing), rel=1e-12)


@pytest.mark.parametrize("damping", [0.3, 1.0, 3.0])
def test_a_second_order_step_goes_from_nothing_to_one(damping: float) -> None:
    before, at_once, late = second_order_step(np.array([-1.0, 0.0, 200.0]), damping)
    assert before == at_once == pytest.approx(0.0, abs=1e-15)
    assert late == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("beside", [1.0 - 1e-4, 1.0 + 1e-4])
def test_critical_damping_lies_between_its_neighbours(beside: float) -> None:
    x = np.linspace(0.0, 12.0, 50)
    np.testing.assert_allclose(
        second_order_step(x, 1.0), second_order_step(x, beside), rtol=0.0, atol=1e-4
    )


@pytest.mark.parametrize(("damping", "rise"), [(0.5, 1.64), (1.0, 3.36)])
def test_second_order_rise_times_are_those_of_the_textbook(damping: float, rise: float) -> None:
    """10 to 90 % times the natural frequency, in textbooks of control to three digits."""
    assert second_order_rise(damping) == pytest.approx(rise, abs=0.005)


def test_far_over_critical_damping_the_rise_is_one_poles() -> None:
    """Its slow pole is at 1 / (2 z): ln 9 of those time constants."""
    assert second_order_rise(30.0) == pytest.approx(60.0 * math.log(9.0), rel=2e-3)


@pytest.mark.parametrize("damping", [0.4, 1.0, 2.5])
def test_a_second_order_edge_takes_the_rise_time_it_is_given(damping: float) -> None:
    t = np.linspace(0.0, 10e-6, 200_001)
    edge = second_order_edge(t, 1e-6, damping)
    ten, ninety = (float(t[np.argmax(edge >= share)]) for share in (0.1, 0.9))
    assert ninety - ten == pytest.approx(1e-6, rel=1e-3)


@pytest.mark.parametrize("drive", [1e-3, 1.0, 20.0, 500.0])
def test_a_slewing_edge_takes_the_rise_time_it_is_given(drive: float) -> None:
    t = np.linspace(0.0, 40.0, 400_001)
    edge = slewing_edge(t, 8.0, drive)
    ten, ninety = (float(t[np.argmax(edge >= share)]) for share in (0.1, 0.9))
    assert ninety - ten == pytest.approx(8.0, rel=1e-3)


@pytest.mark.parametrize("drive", [0.5, 5.0, 50.0])
def test_a_slewing_edge_follows_its_differential_equation(drive: float) -> None:
    """What is left of the step, in units of the input pair's reach, falls by its hyperbolic tangent
    a time constant."""
    tau = slewing_constant_s(1.0, drive)
    t = np.linspace(0.01, 2.0, 20_001)
    left = drive * (1.0 - slewing_edge(t, 1.0, drive))
    np.testing.assert_allclose(
        np.gradient(left, t)[1:-1] * tau, -np.tanh(left)[1:-1], rtol=0.0, atol=1e-4
    )


def test_a_slewing_edge_driven_hard_is_a_straight_line() -> None:
    before, begin, middle = slewing_edge(np.array([-1.0, 0.0, 5.0]), 8.0, 500.0)
    assert (before, begin) == (0.0, 0.0)
    assert middle == pytest.approx(0.5, abs=2e-3)


def test_a_small_step_leaves_one_pole_behind_a_slewing_edge() -> None:
    """Its rise is then ln 9 time constants."""
    assert slewing_constant_s(math.log(9.0), 1e-3) == pytest.approx(1.0, abs=1e-6)


def test_an_edge_tells_its_slew_rate_and_its_time() -> None:
    """0 to 10 V at 9 V/us from a microsecond on: 80 % of it takes 889 ns."""
    volts = np.clip((np.arange(400) * 1e-8 - 1e-6) * 9e6, 0.0, 10.0)
    edge = read_edge(Trace(0.0, 1e-8, volts, 0.0), 156.0, 0.0, 399.0, 1e-3)
    assert edge.told == "slewing"
    assert edge.slew_v_per_s == pytest.approx(9e6, rel=1e-3)
    assert edge.rise_time_s == pytest.approx(0.8 * 10.0 / 9e6, rel=2e-3)
    assert edge.step_v == pytest.approx(10.0, rel=2e-3)
    assert edge.at_s == pytest.approx(1.56e-6)


def test_a_period_is_from_a_crossing_to_the_next_but_one() -> None:
    found = (Crossing(2.0, True), Crossing(7.0, False), Crossing(12.0, True))
    assert period_points(found) == (10.0, 0.0)


def test_two_crossings_are_half_a_period_and_one_is_none() -> None:
    assert period_points((Crossing(2.0, True), Crossing(7.0, False))) == (10.0, 0.0)
    assert period_points((Crossing(2.0, True),)) is None


def test_periods_that_differ_say_by_how_much() -> None:
    found = tuple(Crossing(at, n % 2 == 0) for n, at in enumerate([0.0, 5.0, 9.0, 14.0, 20.0]))
    mean, apart = period_points(found) or (0.0, 0.0)
    assert mean == pytest.approx((9.0 + 9.0 + 11.0) / 3.0)
    assert apart == pytest.approx(2.0 / mean)


def test_the_spread_of_a_fit_is_the_inverse_of_its_squared_slopes() -> None:
    slopes = np.random.default_rng(1).standard_normal((20, 3))
    np.testing.assert_allclose(slopes_to_spread(slopes), np.linalg.inv(slopes.T @ slopes))
    np.testing.assert_allclose(slopes_to_spread(np.array([[2.0], [0.0]])), [[0.25]])


@pytest.mark.parametrize("middle_v", [0.0, -3.0, 5.0])
def test_a_top_falls_towards_its_middle_as_one_corner_lets_it(middle_v: float) -> None:
    found = tilt_of(middle_v + 2.0 * np.exp(-100.0 * MS), middle_v, 0.0, 1e-6, 1e-6, 0.0)
    assert found is not None
    assert found.decay_per_s == pytest.approx(100.0, rel=1e-6)


def test_steps_of_the_scope_make_a_tilt_less_sure() -> None:
    top = 2.0 * np.exp(-100.0 * MS)
    fine, coarse = (tilt_of(top, 0.0, 0.0, 1e-6, 1e-6, step_v) for step_v in (0.0, 0.05))
    assert fine is not None
    assert coarse is not None
    assert coarse.doubt_per_s > 2.0 * fine.doubt_per_s


@pytest.mark.parametrize(
    ("top", "skip"),
    [(np.full(8, 2.0), 0.0), (np.full(1000, 2.0), 700.0), (np.zeros(1000), 0.0)],
    ids=["too few points", "hardly anything after the edge", "no height"],
)
def test_a_top_that_tells_no_tilt(top: np.ndarray, skip: float) -> None:
    assert tilt_of(top, 0.0, skip, 1e-6, 1e-6, 0.0) is None


def test_a_sine_is_fitted_beyond_the_levels_that_clip_it() -> None:
    wave = np.clip(2.0 * np.sin(2.0 * np.pi / 200.0 * np.arange(1000)), -1.0, 1.5)
    found = fit_sine(wave, 201.0, 1e-4)
    assert found.amplitude_v == pytest.approx(2.0, abs=1e-3)
    assert (found.low_v, found.high_v) == pytest.approx((-1.0, 1.5), abs=1e-3)


def test_a_triangle_tells_its_slope() -> None:
    """From -1 to 1 in a hundred points of a microsecond: 0.02 V/us."""
    wave = np.abs((np.arange(1000) % 200) - 100) / 50.0 - 1.0
    fitted = fit_straight(wave, crossings(wave), 1e-6)
    assert fitted.rise == pytest.approx(0.02, rel=1e-4)
    assert fitted.high_v == pytest.approx(1.0, abs=1e-3)
    told = read_triangle(Trace(0.0, 1e-6, wave, 0.0), fitted)
    assert told.figure("slew_rise_v_per_us").value == pytest.approx(0.02, rel=1e-3)
