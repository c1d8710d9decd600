"""Ripple against a rectifier marched through time: the reservoir follows the wave or falls."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from stagefx.stage import nominal, stage_from
from stagefx.stage.supply import ripple_exact_v_pp, ripple_v_pp

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
