"""The slew effect against the law it stands for, solved as a differential equation.

dv/dt = S tanh((u - v)/(S tau)), tau = N/w_t: the textbook two-stage amplifier, its input pair
steering a limited current into the compensation capacitor.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.effects.kind import Setup
from stagefx.effects.limits.slew import slew
from stagefx.effects.linear.sections import Linear
from stagefx.render.plan import stage_effects
from tests.played import harmonics, in_decibels, steady_tone

Array = NDArray[np.float64]
RATE_HZ = 48000
POINTS = 480
"""Points of a period of the solution."""


@cache
def by_the_law(steepness: float, speed: float) -> Array:
    """A period of the law's steady answer to sin(theta).

    `steepness` is the target's steepest slope over S, `speed` is w tau: the frequency over the
    closed-loop bandwidth.
    """

    def slope(theta: float, v: Array) -> Array:
        return np.tanh(steepness * (np.sin(theta) - v) / speed) / steepness

    def jacobian(theta: float, v: Array) -> Array:
        inside = np.clip(steepness * (np.sin(theta) - v) / speed, -300.0, 300.0)
        return np.array([-1.0 / (speed * np.cosh(inside) ** 2)])

    before = 2 if steepness < 1.5 else 4
    # of a target that is always too steep the answer is near a triangle, whose start settles slowly
    peak = 0.5 * np.pi / steepness
    start = peak - (np.pi - np.arcsin(peak)) / steepness if steepness > 1.9 else 0.0
    theta = 2.0 * np.pi * (before + np.arange(POINTS) / POINTS)
    solved = solve_ivp(
        slope,
        (0.0, theta[-1]),
        [start],
        method="Radau",
        jac=jacobian,
        rtol=1e-8,
        max_step=0.02,  # or it leaps over the moments at which the output turns round
        atol=1e-11,
        t_eval=theta,
    )
    assert solved.success
    return np.asarray(solved.y[0])


def rendered(steepness: float, speed: float, *, hz: float, rate_hz: int = RATE_HZ) -> Array:
    """A tenth of a second of a full-scale sine through the effect and the loop's one pole."""
    radians = 2.0 * np.pi * hz
    tau, limit = speed / radians, radians / steepness
    pole = Linear("pole", lambda f: 1.0 / (1.0 + 2j * np.pi * f * tau), 1.0)
    effects = [slew(limit, limit, tau), pole]
    return steady_tone(effects, hz=hz, rate_hz=rate_hz, frames=rate_hz // 10)


SPEEDS = [0.003, 0.03, 0.12]


@pytest.mark.parametrize("speed", SPEEDS)
@pytest.mark.parametrize("steepness", [0.2, 0.5, 0.8, 1.2, 1.5, 4.0])
def test_the_third_harmonic_is_that_of_the_law(steepness: float, speed: float) -> None:
    """Within 0.5 dB, up to 0.12 of the closed-loop bandwidth."""
    wanted = harmonics(by_the_law(steepness, speed), periods=1, count=3)
    found = harmonics(rendered(steepness, speed, hz=5000.0, rate_hz=44100), periods=500, count=3)
    assert in_decibels(found[2] / wanted[2]) == pytest.approx(0.0, abs=0.5)
    assert in_decibels(found[0] / wanted[0]) == pytest.approx(0.0, abs=0.03)


@pytest.mark.parametrize("speed", SPEEDS)
@pytest.mark.parametrize("steepness", [0.2, 0.8, 1.0, 1.1, 1.2, 2.0, 4.0])
def test_the_audible_waveform_stays_near_that_of_the_law(steepness: float, speed: float) -> None:
    """Nearer than 0.25 S tau, S tau steering the input pair fully; below slewing, than a thirtieth.

    Where the steepest slope is S itself, the pair is steered far and for long, but not fully: the
    lag, which then depends on how long, is short by up to 0.6 S tau.
    """
    audible = 20
    found = harmonics(rendered(steepness, speed, hz=1000.0), periods=100, count=audible)
    wanted = harmonics(by_the_law(steepness, speed), periods=1, count=audible)
    turns = np.exp(2j * np.pi * np.outer(np.arange(200) / 200, np.arange(1, audible + 1)))
    error = np.abs((turns @ (found - wanted)).imag).max()
    most = 0.03 if steepness <= 0.8 else 0.6 if steepness == 1.0 else 0.25
    assert error < most * speed / steepness


def held_step(error: float, steering: float, constants: float) -> float:
    """What is left of a distance to a held target: V asinh(sinh(e/V) exp(-T/tau)).

    With sinh(x) = exp(x) (1 - exp(-2 x))/2, so that nothing overflows.
    """
    x = abs(error) / steering
    exponent = x - constants + np.log1p(-np.exp(-2.0 * x)) - np.log(2.0)
    left = (
        exponent + np.log1p(np.sqrt(1.0 + np.exp(-2.0 * exponent)))
        if exponent > 0.0
        else (np.arcsinh(np.exp(exponent)))
    )
    return float(np.copysign(steering * left, error))


@pytest.mark.parametrize("error", [0.01, 1.0, 5.0, 50.0, 2000.0])
@pytest.mark.parametrize("constants", [0.1, 1.0, 10.0, 60.0])
def test_the_law_with_its_target_held_has_a_closed_form(error: float, constants: float) -> None:
    """Which vouches for the equation that all the rest is measured by."""
    steering = 0.7
    solved = solve_ivp(
        lambda t, e: -steering * np.tanh(e / steering),
        (0.0, constants),
        [error * steering],
        method="Radau",
        jac=lambda t, e: np.array([-1.0 / np.cosh(np.clip(e / steering, -300, 300)) ** 2]),
        rtol=1e-10,
        atol=1e-14,
    )
    expected = held_step(error * steering, steering, constants)
    assert solved.y[0, -1] == pytest.approx(expected, rel=1e-6, abs=1e-12)


def test_far_beyond_its_limit_a_sine_is_a_triangle() -> None:
    """Peak S/(4 f), odd harmonics alone, falling by the square: THD 12.115 %, H3 -19.08 dB."""
    hz, limit, rate_hz = 200.0, 300.0, 48000
    found = steady_tone([slew(limit, limit)], hz=hz, rate_hz=rate_hz, frames=4800)
    amplitudes = np.abs(harmonics(found, periods=20, count=99))
    order = np.arange(1, 100)
    series = np.where(order % 2 == 1, 8.0 / np.pi**2 / order**2, 0.0) * limit / (4.0 * hz)
    assert amplitudes == pytest.approx(series, abs=1e-8)
    distortion = np.sqrt(np.square(amplitudes[1:]).sum()) / amplitudes[0]
    assert 100.0 * distortion == pytest.approx(12.115, abs=5e-4)
    assert in_decibels(amplitudes[2] / amplitudes[0]) == pytest.approx(-19.08, abs=5e-3)


@pytest.mark.parametrize("topology", ["non-inverting", "inverting"])
def test_a_stage_follows_the_law_in_volts(topology: str) -> None:
    """An amplifier of one pole and nothing else, driven to 0.7 and 1.5 times its slew limit."""
    stage = stage_from(
        {
            "source": {"level": "2 V rms"},
            "amplifier": {
                "topology": topology,
                "feedback_resistance": "10 kohm",
                "gain_resistance": "3.3 kohm",
                "gain_bandwidth": "2 MHz",
                "slew_rise": "0.5 V/us",
                "slew_fall": "0.5 V/us",
            },
        }
    )
    effects = stage_effects(Setup(nominal(stage), RATE_HZ))
    gain = 10.0 / 3.3 + (topology == "non-inverting")
    tau = (1.0 + 10.0 / 3.3) / (2.0 * np.pi * 2e6)
    for hz, peak_v in ((5000.0, 2.76), (5000.0, 6.0)):
        steepness = round(2.0 * np.pi * hz * peak_v * gain / 0.5e6, 6)
        speed = round(2.0 * np.pi * hz * tau, 6)
        found = steady_tone(
            effects, hz=hz, rate_hz=RATE_HZ, frames=RATE_HZ // 10, full_scale_v=peak_v
        )
        wanted = harmonics(by_the_law(steepness, speed), periods=1, count=3)
        measured = harmonics(found, periods=500, count=3)
        assert in_decibels(measured[2] / wanted[2]) == pytest.approx(0.0, abs=0.5)
        assert in_decibels(measured[0] / wanted[0]) == pytest.approx(0.0, abs=0.02)
