"""What holds for every loop: slower, lighter and better separated is steadier."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, strategies as st

from stagefx.circuit.amplifier.stability import Stability, stability
from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.network.polynomial import plus, roots, times, value

FOLLOWER = {
    "topology": "follower",
    "gain_bandwidth": "10 MHz",
    "second_pole": "40 MHz",
    "open_loop_output_resistance": "60 ohm",
}


def loop(*, load_f: float = 300e-12, **changed: Any) -> Stability:
    output = changed.pop("output", None)
    tables = {"amplifier": FOLLOWER | changed, "load": {"capacitance": f"{load_f:.12g} F"}}
    found = stability(nominal(stage_from(tables | ({"output": output} if output else {}))))
    assert found is not None
    return found


LOADS_F = np.geomspace(10e-12, 3e-9, 12)


@pytest.mark.parametrize("speed", ["3 MHz", "10 MHz", "30 MHz"])
def test_more_capacitance_is_less_margin_and_more_overshoot(speed: str) -> None:
    found = [loop(load_f=float(load), gain_bandwidth=speed) for load in LOADS_F]
    assert np.all(np.diff([one.phase_margin_deg[0] for one in found]) < 0.0)
    overshoots = np.array([one.overshoot_percent[0] for one in found])
    assert np.all(np.diff(overshoots) >= 0.0)
    assert np.all(np.diff([one.peaking_db[0] for one in found]) >= 0.0)


def test_more_gain_is_more_margin() -> None:
    margins = []
    for gain in (1.0, 2.0, 4.0, 10.0, 100.0):
        amplifier = {key: v for key, v in FOLLOWER.items() if key != "topology"} | {"gain": gain}
        found = stability(nominal(stage_from({"amplifier": amplifier})))
        assert found is not None
        margins.append(found.phase_margin_deg[0])
    assert np.all(np.diff(margins) > 0.0)
    assert margins[-1] < 90.0


def test_margin_nought_is_where_it_begins_to_oscillate() -> None:
    """Found by bisection on the load, the two rules agree."""
    low, high = 1e-10, 1e-6
    for _ in range(60):
        middle = np.sqrt(low * high)
        steady = loop(load_f=middle, second_pole="8 MHz").oscillates[0] == 0.0
        low, high = (middle, high) if steady else (low, middle)
    assert abs(loop(load_f=low, second_pole="8 MHz").phase_margin_deg[0]) < 1e-6


def test_coupling_capacitors_do_not_count() -> None:
    plain = loop(output={"resistance": "47 ohm"})
    coupled = loop(output={"resistance": "47 ohm", "coupling": "1 uF"})
    assert coupled.overshoot_percent[0] == plain.overshoot_percent[0]
    assert coupled.phase_margin_deg[0] == plain.phase_margin_deg[0]


def test_an_ideally_fast_device_has_no_loop() -> None:
    assert stability(nominal(stage_from({"amplifier": {"gain": 4.0}}))) is None
    assert stability(nominal(stage_from({}))) is None


def test_equal_real_poles_do_not_overshoot() -> None:
    """A second pole at four times the gain-bandwidth makes both poles of a follower one."""
    amplifier = {"topology": "follower", "gain_bandwidth": "10 MHz", "second_pole": "40 MHz"}
    found = stability(nominal(stage_from({"amplifier": amplifier})))
    assert found is not None
    assert found.poles[0].real == pytest.approx([-20.0, -20.0], rel=1e-6)
    assert found.overshoot_percent[0] == pytest.approx(0.0, abs=1e-5)
    assert np.isnan(found.ringing_hz[0])


coefficients = st.lists(st.floats(0.1, 10.0), min_size=2, max_size=6)


@given(coefficients, coefficients)
def test_polynomials_multiply_and_add_as_numpy_s(p: list[float], q: list[float]) -> None:
    first, second = np.array([p]), np.array([q])
    polynomial = np.polynomial.polynomial
    assert times(first, second)[0] == pytest.approx(polynomial.polymul(p, q), rel=1e-12)
    assert plus(first, second)[0] == pytest.approx(polynomial.polyadd(p, q), rel=1e-12)
    s = np.array([0.3 + 0.4j])
    assert value(first, s)[0, 0] == pytest.approx(polynomial.polyval(s, p)[0], rel=1e-12)


@given(coefficients)
def test_roots_are_roots(p: list[float]) -> None:
    found = roots(np.array([p]))
    size = np.sum(np.abs(found[..., None]) ** np.arange(len(p)) * np.abs(p), axis=-1)
    assert np.all(np.abs(value(np.array([p]), found)) <= 1e-9 * size)
