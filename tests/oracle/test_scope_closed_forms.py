"""Scope traces made from closed forms, 8 bits and noise: what is told must be what went in.

Closed forms are those of the textbooks on linear and two-stage amplifiers: one pole, a second-order
low-pass, a clipped sine, a bass corner's droop; the slewing edge is stepped by scipy's ODE solver.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from stagefx.bench.readings.closed_forms.square_waves import cascade_rise_time_s
from stagefx.bench.scope.interpretation import read_scope
from stagefx.bench.scope.reading import ScopeReading
from stagefx.bench.scope.tables import ScopeError, Trace

Array = NDArray[np.float64]


def eight_bits(volts: Array, *, noise: float = 0.3, seed: int = 1) -> tuple[Array, float]:
    """As an 8-bit converter whose range is 1.25 times the wave writes it."""
    step = 1.25 * float(np.ptp(volts)) / 256.0
    smeared = volts + np.random.default_rng(seed).normal(0.0, noise * step, volts.size)
    return np.round(smeared / step) * step, step


def told(volts: Array, interval_s: float, *, generator_s: float | None = None) -> ScopeReading:
    seen, step = eight_bits(volts)
    return read_scope(Trace(0.0, interval_s, seen, step), generator_s=generator_s)


def value(reading: ScopeReading, key: str) -> float:
    return reading.figure(key).value


def within_doubt(reading: ScopeReading, key: str, truth: float) -> bool:
    figure = reading.figure(key)
    return abs(figure.value - truth) < 4.0 * figure.uncertainty


def keys(reading: ScopeReading) -> set[str]:
    return {one.key for one in reading.figures}


def one_pole(t: Array, corner_hz: float) -> Array:
    return -np.expm1(-np.maximum(t, 0.0) * 2.0 * math.pi * corner_hz)


def second_order(t: Array, natural_hz: float, damping: float) -> Array:
    x, w = np.maximum(t, 0.0) * 2.0 * math.pi * natural_hz, math.sqrt(1.0 - damping**2)
    return 1.0 - np.exp(-damping * x) * (np.cos(w * x) + damping / w * np.sin(w * x))


@pytest.mark.parametrize("corner_hz", [0.2e6, 1e6, 3e6])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_one_pole_is_bandwidth_and_no_slew(corner_hz: float, sign: float) -> None:
    t = np.arange(2500) * 4e-9 - 1.5e-6
    reading = told(sign * 4.0 * one_pole(t, corner_hz), 4e-9)
    word = "rise" if sign > 0.0 else "fall"
    assert reading.kind == "step"
    assert [edge.told for edge in reading.edges] == ["bandwidth"]
    # ln 9 / (2 pi fc)
    assert value(reading, f"{word}_time_s") == pytest.approx(0.349699 / corner_hz, rel=0.02)
    assert value(reading, f"corner_{word}_hz") == pytest.approx(corner_hz, rel=0.02)
    assert not keys(reading) & {"slew_rise_v_per_us", "slew_fall_v_per_us", "overshoot_percent"}
    # the steepest slope of one pole is 2 pi fc V
    steepest = reading.edges[0].steepest_v_per_s
    assert steepest == pytest.approx(2.0 * math.pi * corner_hz * 4.0, rel=0.05)


@pytest.mark.parametrize("damping", [0.15, 0.3, 0.5, 0.65])
def test_second_order_step(damping: float) -> None:
    t = np.arange(2500) * 4e-9 - 1e-6
    reading = told(2.0 * second_order(t, 1e6, damping) - 1.0, 4e-9)
    w = math.sqrt(1.0 - damping**2)
    overshoot = 100.0 * math.exp(-math.pi * damping / w)
    assert reading.edges[0].told == "bandwidth"
    assert value(reading, "overshoot_percent") == pytest.approx(overshoot, abs=0.6)
    assert value(reading, "ringing_hz") == pytest.approx(w * 1e6, rel=0.02)
    assert value(reading, "damping_ratio") == pytest.approx(damping, rel=0.03)


def slewing_square(rise: float, fall: float, corner_hz: float, height: float, t: Array) -> Array:
    """dv/dt = S tanh(w (u - v) / S), by scipy, from edge to edge of a 50 kHz square wave."""
    w, v, pieces = 2.0 * math.pi * corner_hz, -height, []
    for start in np.arange(0.0, t[-1] + 1e-9, 10e-6):
        u = height if round(start / 10e-6) % 2 == 0 else -height
        inside = t[(t >= start - 1e-15) & (t < start + 10e-6 - 1e-15)]

        def slope(_: float, y: Array, u: float = u) -> Array:
            limit = rise if u > y[0] else fall
            return limit * np.tanh(w * (u - y) / limit)

        span = (start, start + 10e-6)
        solved = solve_ivp(slope, span, [v], t_eval=inside, rtol=1e-8, atol=1e-9, max_step=5e-8)
        pieces.append(solved.y[0])
        v = float(solved.y[0][-1])
    return np.concatenate(pieces)


def test_slewing_edges_of_a_square_wave() -> None:
    t = np.arange(1500) * 2e-8
    reading = told(slewing_square(9e6, 7e6, 2.5e6, 5.0, t), 2e-8)
    assert reading.kind == "square"
    assert {edge.told for edge in reading.edges} == {"slewing"}
    assert value(reading, "slew_rise_v_per_us") == pytest.approx(9.0, rel=0.01)
    assert value(reading, "slew_fall_v_per_us") == pytest.approx(7.0, rel=0.01)
    # 0.8 × 10 V / 9 V/us, and a little for the rounded end
    assert value(reading, "rise_time_s") == pytest.approx(0.888889e-6, rel=0.01)
    assert value(reading, "frequency_hz") == pytest.approx(50e3, rel=1e-3)
    assert "tilt_percent" not in keys(reading)


def test_the_same_amplifier_with_a_small_step_shows_bandwidth() -> None:
    t = np.arange(1500) * 2e-8
    # the largest clean step of 9 V/us and 2.5 MHz is 0.572958 V
    reading = told(slewing_square(9e6, 7e6, 2.5e6, 0.1, t), 2e-8)
    assert {edge.told for edge in reading.edges} == {"bandwidth"}
    assert value(reading, "corner_rise_hz") == pytest.approx(2.5e6, rel=0.05)


@pytest.mark.parametrize(
    ("amplitude", "high", "low"), [(16.0, 13.0, -13.9), (14.5, 13.0, -13.9), (30.0, 9.0, -9.5)]
)
def test_clipped_sine(amplitude: float, high: float, low: float) -> None:
    t = np.arange(2500) * 2e-6
    wave = np.clip(amplitude * np.sin(2.0 * math.pi * 1e3 * t + 0.4), low, high)
    reading = told(wave, 2e-6)
    assert reading.kind == "clipped sine"
    assert value(reading, "clip_high_v") == pytest.approx(high, rel=0.005)
    assert value(reading, "clip_low_v") == pytest.approx(low, rel=0.005)
    # limits +13.0/-13.9: centre -0.45 V, symmetry 20 log(13.0/13.9)
    assert within_doubt(reading, "clip_symmetry_db", 20.0 * math.log10(-high / low))
    assert within_doubt(reading, "clip_centre_v", 0.5 * (high + low))
    over = 20.0 * math.log10(amplitude / min(high, -low))
    assert value(reading, "overdrive_db") == pytest.approx(over, abs=0.15)
    assert value(reading, "frequency_hz") == pytest.approx(1e3, rel=1e-4)


def test_a_sine_clipped_on_one_side_alone() -> None:
    t = np.arange(2500) * 2e-6
    reading = told(np.minimum(13.5 * np.sin(2.0 * math.pi * 1e3 * t), 13.0), 2e-6)
    assert value(reading, "clip_high_v") == pytest.approx(13.0, abs=0.03)
    assert "clip_low_v" not in keys(reading)


def test_a_clean_sine_has_no_clip_levels() -> None:
    t = np.arange(2500) * 2e-6
    reading = told(3.0 * np.sin(2.0 * math.pi * 1e3 * t) + 0.1, 2e-6)
    assert reading.kind == "sine"
    assert value(reading, "level_v_rms") == pytest.approx(3.0 / math.sqrt(2.0), rel=0.003)
    assert within_doubt(reading, "middle_v", 0.1)
    assert not keys(reading) & {"clip_high_v", "clip_low_v"}


def test_a_sine_far_beyond_the_slew_limit_is_a_triangle() -> None:
    # peak S/(4f): 0.5 V/us at 50 kHz
    t = np.arange(2500) * 4e-8
    peak = 0.5e6 / (4.0 * 50e3)
    reading = told(peak * (4.0 * np.abs((50e3 * t + 0.2) % 1.0 - 0.5) - 1.0), 4e-8)
    assert reading.kind == "triangle"
    assert value(reading, "slew_rise_v_per_us") == pytest.approx(0.5, rel=0.005)
    assert value(reading, "slew_fall_v_per_us") == pytest.approx(0.5, rel=0.005)


def steady_tilt(corner_hz: float, square_hz: float, t: Array) -> Array:
    """A square wave of ±1 V behind one coupling capacitor, long after it was switched on."""
    half = 0.5 / square_hz
    start = 2.0 / (1.0 + math.exp(-2.0 * math.pi * corner_hz * half))
    place = (t + 1e-3) / half
    sign = np.where(np.floor(place) % 2.0 == 0.0, 1.0, -1.0)
    return sign * start * np.exp(-2.0 * math.pi * corner_hz * half * (place - np.floor(place)))


@pytest.mark.parametrize(
    ("corner_hz", "square_hz", "half", "one_top"),
    [(1.591549, 50.0, 9.991675, 9.516258), (6.387547, 100.0, 20.0, 18.18)],
)
def test_tilt_by_its_definitions(
    corner_hz: float, square_hz: float, half: float, one_top: float
) -> None:
    # worked by hand for a high-pass of 1.591549 Hz and a 50 Hz square wave, and for 20 % at 100 Hz
    t = np.arange(4000) * 1e-5
    reading = told(steady_tilt(corner_hz, square_hz, t), 1e-5)
    assert value(reading, "tilt_percent") == pytest.approx(half, abs=0.3)
    assert value(reading, "tilt_one_top_percent") == pytest.approx(one_top, abs=0.3)
    assert value(reading, "low_corner_hz") == pytest.approx(corner_hz, rel=0.03)
    assert within_doubt(reading, "low_corner_hz", corner_hz)
    assert "overshoot_percent" not in keys(reading)


def test_the_generator_is_taken_out_of_the_rise_time() -> None:
    # 1.6 us seen through a generator of 1.2 us is 2.150042 us, both as single poles
    t = np.arange(2500) * 2e-8 - 5e-6
    slow, fast = 1.6e-6 / math.log(9.0), 1.2e-6 / math.log(9.0)
    x = np.maximum(t, 0.0)
    seen = 1.0 - (slow * np.exp(-x / slow) - fast * np.exp(-x / fast)) / (slow - fast)
    reading = told(3.0 * seen, 2e-8, generator_s=1.2e-6)
    assert value(reading, "rise_time_s") == pytest.approx(2.150042e-6, rel=0.01)
    assert value(reading, "rise_time_s") == pytest.approx(
        cascade_rise_time_s(1.6e-6, 1.2e-6), rel=0.01
    )
    assert value(reading, "own_rise_time_s") == pytest.approx(1.6e-6, rel=0.02)


def test_an_edge_between_two_points_gives_bounds_alone() -> None:
    t = np.arange(2500) * 2e-8 - 5e-6
    reading = told(10.0 * one_pole(t, 100e6), 2e-8)
    assert {"rise_time_at_most_s", "slope_rise_at_least_v_per_us"} <= keys(reading)
    assert not keys(reading) & {"rise_time_s", "slew_rise_v_per_us", "corner_rise_hz"}
    assert value(reading, "rise_time_at_most_s") >= 0.349699 / 100e6


def test_what_is_constant_or_no_wave_is_refused() -> None:
    with pytest.raises(ScopeError, match=r"^edge\.csv is constant"):
        read_scope(Trace(0.0, 1e-6, np.full(100, 1.5), 0.0), where="edge.csv")
    hum = np.random.default_rng(3).integers(0, 3, 500) * 0.1
    with pytest.raises(ScopeError, match="is constant, or hardly moves"):
        read_scope(Trace(0.0, 1e-6, hum, 0.1))
    with pytest.raises(ScopeError, match="is no regular wave"):
        read_scope(Trace(0.0, 1e-6, np.random.default_rng(3).normal(size=2000), 0.0))
