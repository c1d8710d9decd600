"""A reservoir against a rectifier marched through time: it follows the wave or falls.

With the winding's resistance it is charged through it, which is a differential equation of its own.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.supply.ratings import regulator_margin_v
from stagefx.circuit.supply.reservoirs import (
    charged_through_resistance,
    ripple_exact_v_pp,
    ripple_v_pp,
    valley_v,
)

SUPPLY: dict[str, Any] = {
    "positive": "15 V",
    "negative": "-15 V",
    "secondary": "15 V rms",
    "diode_drop": "0.8 V",
    "mains_frequency": "50 Hz",
}


def marched_v_pp(current_a: float, reservoir_f: float, rectifier: str) -> float:
    """Three cycles of the mains at 400,000 steps a cycle; the last cycle is read."""
    steps = 400_000
    phase = 2.0 * np.pi * np.arange(3 * steps) / steps
    wave = np.cos(phase)
    wave = 15.0 * np.sqrt(2.0) * (np.abs(wave) if rectifier == "full" else wave) - 0.8
    fall = current_a / reservoir_f / (50.0 * steps)
    # v[n] = max(wave[n], v[n-1] - fall): a running maximum once the fall is taken out
    index = np.arange(wave.size)
    volts = np.maximum(np.maximum.accumulate(wave + fall * index) - fall * index, 0.0)
    return float(np.ptp(volts[2 * steps :]))


@pytest.mark.parametrize("rectifier", ["full", "half"])
@pytest.mark.parametrize(
    ("current", "reservoir"),
    [(5e-3, 1e-3), (50e-3, 1e-3), (0.2, 2.2e-3), (50e-3, 220e-6), (1.0, 4.7e-3)],
)
def test_ripple(rectifier: str, current: float, reservoir: float) -> None:
    """Within 2 %: the true fall begins a little after the crest, where the wave is steeper."""
    supply = SUPPLY | {"rectifier": rectifier, "load_current": f"{current} A"}
    circuit = nominal(stage_from({"supply": supply | {"reservoir": f"{reservoir} F"}}))
    found = float(ripple_exact_v_pp(circuit)[0])
    assert found == pytest.approx(marched_v_pp(current, reservoir, rectifier), rel=0.02)
    assert found < float(ripple_v_pp(circuit)[0])


def test_an_empty_reservoir_ripples_by_its_whole_crest() -> None:
    supply = SUPPLY | {"load_current": "1 A", "reservoir": "10 uF"}
    found = float(ripple_exact_v_pp(nominal(stage_from({"supply": supply})))[0])
    assert found == pytest.approx(15.0 * np.sqrt(2.0) - 0.8, rel=1e-12)


# --- through the winding's resistance ---


def integrated(
    ohm: float, current_a: float, reservoir_f: float, rectifier: str, crest: float = 1.0
) -> tuple[float, float, float, float]:
    """Highest and lowest voltage, peak and rms current of the cycle that ends as it began."""
    turning, at = 2.0 * np.pi * 50.0, np.arange(40000) / 40000 / 50.0

    def charging(t: Any, v: Any) -> Any:
        wave = np.cos(turning * t)
        wave = np.abs(wave) if rectifier == "full" else wave
        return np.maximum(15.0 * np.sqrt(2.0) * crest * wave - 0.8 - np.maximum(v, 0.0), 0.0) / ohm

    def slope(t: float, v: Any) -> Any:
        net = charging(t, v) - current_a
        return np.where((v <= 0.0) & (net < 0.0), 0.0, net) / reservoir_f

    def cycle(first_v: float) -> Any:
        solved = solve_ivp(
            slope, (0.0, 0.02), [first_v], rtol=1e-8, atol=1e-9, max_step=1e-4, t_eval=[*at, 0.02]
        )
        assert solved.success
        return solved.y[0]

    volts = cycle(brentq(lambda v: cycle(v)[-1] - v, 0.0, 15.0 * np.sqrt(2.0), xtol=1e-9))[:-1]
    amperes = charging(at, volts)
    return volts.max(), volts.min(), amperes.max(), np.sqrt(np.square(amperes).mean())


@pytest.mark.parametrize("rectifier", ["full", "half"])
@pytest.mark.parametrize(
    ("ohm", "current", "reservoir"),
    [(1.0, 50e-3, 1e-3), (0.2, 50e-3, 220e-6), (15.0, 0.2, 2.2e-3), (4.7, 0.02, 4.7e-3)],
)
def test_charging_through_the_winding(
    ohm: float, current: float, reservoir: float, rectifier: str
) -> None:
    supply = SUPPLY | {"rectifier": rectifier, "load_current": f"{current} A"}
    supply |= {"reservoir": f"{reservoir} F", "transformer_resistance": f"{ohm} ohm"}
    found = charged_through_resistance(nominal(stage_from({"supply": supply})))
    assert found is not None
    highest, lowest, peak, rms = integrated(ohm, current, reservoir, rectifier)
    assert float(found.highest_v[0]) == pytest.approx(highest, abs=1e-4)
    assert float(found.lowest_v[0]) == pytest.approx(lowest, abs=1e-4)
    assert float(found.peak_a[0]) == pytest.approx(peak, rel=1e-4)
    assert float(found.rms_a[0]) == pytest.approx(rms, rel=1e-4)


@pytest.mark.parametrize(("ohm", "reservoir"), [(20.0, 10e-6), (60.0, 100e-6), (100.0, 100e-6)])
def test_a_winding_that_cannot_give_the_load_leaves_the_reservoir_empty(
    ohm: float, reservoir: float
) -> None:
    supply = SUPPLY | {"load_current": "0.3 A", "reservoir": f"{reservoir} F"}
    supply |= {"transformer_resistance": f"{ohm} ohm"}
    found = charged_through_resistance(nominal(stage_from({"supply": supply})))
    assert found is not None
    highest, _, peak, rms = integrated(ohm, 0.3, reservoir, "full")
    assert float(found.lowest_v[0]) == 0.0
    assert float(found.highest_v[0]) == pytest.approx(highest, abs=2e-3)
    assert float(found.peak_a[0]) == pytest.approx(peak, rel=1e-3)
    assert float(found.rms_a[0]) == pytest.approx(rms, rel=1e-3)


def test_the_regulator_sees_what_the_winding_leaves() -> None:
    """An ohm costs 0.28 V of valley, and as much of the margin, here at 10 % less mains."""
    supply = SUPPLY | {"load_current": "50 mA", "reservoir": "1000 uF", "regulator_dropout": "2 V"}
    supply |= {"mains_tolerance": "10 %", "transformer_resistance": "1 ohm"}
    circuit = nominal(stage_from({"supply": supply}))
    _, lowest, _, _ = integrated(1.0, 50e-3, 1e-3, "full")
    assert float(valley_v(circuit)[0]) == pytest.approx(lowest, abs=1e-4)
    _, lowest, _, _ = integrated(1.0, 50e-3, 1e-3, "full", crest=0.9)
    assert float(regulator_margin_v(circuit)[0]) == pytest.approx(lowest - 17.0, abs=1e-4)


def test_a_winding_without_resistance_charges_to_the_crest() -> None:
    """The exact ripple then is a little less: the fall begins after the crest, not at it."""
    supply = SUPPLY | {"load_current": "50 mA", "reservoir": "1000 uF"}
    without = nominal(stage_from({"supply": supply}))
    none = nominal(stage_from({"supply": supply | {"transformer_resistance": 0}}))
    found = charged_through_resistance(none)
    assert found is not None
    assert float(found.highest_v[0]) == pytest.approx(15.0 * np.sqrt(2.0) - 0.8, abs=1e-2)
    marched = marched_v_pp(50e-3, 1e-3, "full")
    assert float(ripple_exact_v_pp(none)[0]) == pytest.approx(marched, rel=1e-4)
    assert float(ripple_exact_v_pp(without)[0]) == pytest.approx(marched, rel=0.02)
