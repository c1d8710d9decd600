"""Square waves through a modelled stage against closed forms and scipy's ODE solver."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from stagefx.bench.fit.paper import slewing_loss_db
from stagefx.bench.scope.simulated import square_pictures, square_through
from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.response import Response

FOLLOWER = {"topology": "follower", "gain_bandwidth": "2.5 MHz"}
SLEWING = FOLLOWER | {"slew_rise": "9 V/us", "slew_fall": "7 V/us"}


def circuit(**tables: Any) -> Any:
    return nominal(stage_from({"source": {"level": "2 V rms"}} | tables))


def told(tables: dict[str, Any], name: str, full_scale_v: float = 2.83) -> dict[str, float]:
    pictures = {one.name: one for one in square_pictures(circuit(**tables), full_scale_v)}
    reading = pictures[name].reading
    assert reading is not None
    return {one.key: one.value for one in reading.figures}


def test_one_pole_has_its_rise_time() -> None:
    # ln 9 / (2 pi fc): 100 kHz gives 3.496992 us
    filtered = {"input": {"series_resistance": "1591.549431 ohm", "shunt_capacitance": "1 nF"}}
    small = told(filtered | {"amplifier": {"topology": "follower"}}, "small")
    assert small["rise_time_s"] == pytest.approx(3.496992e-6, rel=0.003)
    assert small["corner_rise_hz"] == pytest.approx(100e3, rel=0.003)


def test_one_bass_corner_has_its_tilt() -> None:
    # 10 uF into 10 kohm, 1.591549 Hz, at 50 Hz: 9.991675 % of half the peak-to-peak
    coupled = {"input": {"coupling": "10 uF", "resistance": "10 kohm"}}
    slow = told(coupled | {"amplifier": {"topology": "follower"}}, "slow")
    assert slow["tilt_percent"] == pytest.approx(9.991675, rel=0.003)
    assert slow["low_corner_hz"] == pytest.approx(1.591549, rel=0.003)


def test_a_slewing_square_is_the_two_stage_law() -> None:
    # dv/dt = S tanh(w (u - v)/S), from one settled level to the other and back
    points, hz, peak = 1 << 13, 100e3, 5.0
    wave = square_through(circuit(amplifier=SLEWING), hz, peak, points=points)
    w = 2.0 * math.pi * 2.5e6
    t = np.arange(points) / (hz * points)
    up, down = t[points // 4], t[3 * points // 4]

    def slope(at: float, v: Any, target: float) -> Any:
        limit = 9e6 if target > v[0] else 7e6
        return limit * np.tanh(w * (target - v) / limit)

    settings = {"rtol": 1e-9, "atol": 1e-10, "max_step": 1e-8}
    risen = solve_ivp(slope, (up, down), [-peak], args=(peak,), dense_output=True, **settings)
    fallen = solve_ivp(slope, (0.0, 0.5 / hz), [peak], args=(-peak,), dense_output=True, **settings)
    # a target held from point to point acts half a point early or late
    late = 1.0 / (hz * points)
    inside = (t > up + late) & (t < down - late)
    assert np.abs(wave[inside] - risen.sol(t[inside] - 0.5 * late)[0]).max() < 0.015 * peak
    after = t > down + late
    assert np.abs(wave[after] - fallen.sol(t[after] - down - 0.5 * late)[0]).max() < 0.015 * peak


def test_the_scope_reads_the_slew_limits_and_only_at_full_scale() -> None:
    full = told({"amplifier": SLEWING}, "full")
    assert full["slew_rise_v_per_us"] == pytest.approx(9.0, rel=0.02)
    assert full["slew_fall_v_per_us"] == pytest.approx(7.0, rel=0.02)
    small = told({"amplifier": SLEWING}, "small")
    assert "slew_rise_v_per_us" not in small
    assert small["corner_rise_hz"] == pytest.approx(2.5e6, rel=0.02)


def test_clip_levels_are_the_tops() -> None:
    supply = {"positive": "3 V", "negative": "-2 V"}
    full = told({"amplifier": SLEWING, "supply": supply}, "full")
    assert full["level_high_v"] == pytest.approx(2.83, rel=1e-3)
    assert full["level_low_v"] == pytest.approx(-2.0, rel=1e-3)


def test_a_second_pole_overshoots_as_on_paper() -> None:
    # zeta = 0.403713 is 25 % (pure second-order low-pass, unity feedback); f2 = 4 zeta² f1
    poles = {"gain_bandwidth": "1 MHz", "second_pole": f"{4 * 0.403713**2} MHz"}
    small = told({"amplifier": {"topology": "follower"} | poles}, "small")
    assert small["overshoot_percent"] == pytest.approx(25.0, abs=0.5)
    natural = 1e6 * 2.0 * 0.403713
    assert small["ringing_hz"] == pytest.approx(natural * math.sqrt(1 - 0.403713**2), rel=0.01)


@pytest.mark.parametrize("share", [0.2, 0.4])
def test_what_a_sine_near_the_slew_limit_loses(share: float) -> None:
    # fundamental of the two-stage law in steady state, by scipy, against the small-signal pole
    hz, slew, pole_hz = 40e3, 0.5e6, 250e3
    peak = share * slew / (2.0 * math.pi * hz)
    w = 2.0 * math.pi * pole_hz

    def slope(t: float, v: Any) -> Any:
        u = peak * math.sin(2.0 * math.pi * hz * t)
        return slew * np.tanh(w * (u - v) / slew)

    periods, points = 6, 400
    t = np.arange(periods * points) / (hz * points)
    v = solve_ivp(slope, (0.0, t[-1]), [0.0], t_eval=t, rtol=1e-10, atol=1e-12).y[0][-points:]
    last = t[-points:]
    fundamental = 2.0 * abs(np.mean(v * np.exp(-2j * np.pi * hz * last)))
    lost_db = -20.0 * math.log10(fundamental / peak)
    small_db = 10.0 * math.log10(1.0 + (hz / pole_hz) ** 2)
    amplifier = {
        "topology": "follower",
        "gain_bandwidth": "250 kHz",
        "slew_rise": "0.5 V/us",
        "slew_fall": "0.5 V/us",
    }
    stage = circuit(amplifier=amplifier)
    # the law's r is the output's slope: here the EMF's, less what the pole takes
    found = slewing_loss_db(stage, Response(stage, np.array([hz])), peak)
    assert lost_db > small_db
    assert float(found[0]) == pytest.approx(lost_db - small_db, rel=0.15)
