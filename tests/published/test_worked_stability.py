"""Stability: textbook worked examples, to the digits given."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from stagefx.circuit.amplifier.stability import stability
from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from tests.published.worked import agrees, figure


def second_order(overshoot_percent: float) -> dict[str, Any]:
    """A follower whose second pole gives a pure second-order low-pass of that overshoot."""
    log = math.log(overshoot_percent / 100.0)
    damping = -log / math.hypot(math.pi, log)
    return {
        "topology": "follower",
        "gain_bandwidth": "10 MHz",
        "second_pole": f"{40.0 * damping**2:.15g} MHz",
    }


@pytest.mark.parametrize(
    ("overshoot", "damping", "quality", "peaking_db", "margin_deg"),
    [
        (5.0, "0.690107", "0.724526", "0.009812", "64.625"),
        (25.0, "0.403713", "1.238504", "2.630613", "43.463"),
        (50.0, "0.215454", "2.320684", "7.518749", "24.292"),
    ],
    ids=["E36-5", "E36-25", "E36-50"],
)
def test_e36_overshoot_damping_peaking_margin(
    overshoot: float, damping: str, quality: str, peaking_db: str, margin_deg: str
) -> None:
    amplifier = second_order(overshoot)
    assert figure("overshoot_percent", amplifier=amplifier) == pytest.approx(overshoot, abs=1e-9)
    assert agrees(figure("peaking_db", amplifier=amplifier), peaking_db)
    assert agrees(figure("phase_margin_deg", amplifier=amplifier), margin_deg)
    worked = stability(nominal(stage_from({"amplifier": amplifier})))
    assert worked is not None
    pole = worked.poles[0, 0]
    assert agrees(-pole.real / abs(pole), damping)
    assert agrees(abs(pole) / (-2.0 * pole.real), quality)


def capacitive(gain_bandwidth: str, load: str, **more: Any) -> dict[str, Any]:
    amplifier = {
        "topology": "follower",
        "gain_bandwidth": gain_bandwidth,
        "open_loop_output_resistance": "100 ohm",
    }
    return {"amplifier": amplifier, "load": {"capacitance": load}} | more


@pytest.mark.parametrize(
    ("load", "crossover_mhz", "margin_deg"),
    [
        ("1 nF", "3.833966", "22.544"),
        ("300 pF", "6.388579", "39.707"),
        ("100 pF", "8.760530", "61.170"),
    ],
)
def test_e36b_a_cable_straight_on_the_output(
    load: str, crossover_mhz: str, margin_deg: str
) -> None:
    tables = capacitive("10 MHz", load)
    assert agrees(figure("phase_margin_deg", **tables), margin_deg)
    worked = stability(nominal(stage_from(tables)))
    assert worked is not None
    assert agrees(worked.crossover_hz[0] * 1e-6, crossover_mhz)


def test_e36b_simulated_overshoot() -> None:
    assert agrees(figure("overshoot_percent", **capacitive("10 MHz", "1 nF")), "52.755")


def test_e36b_a_series_resistor_restores_the_margin() -> None:
    tables = capacitive("10 MHz", "1 nF", output={"resistance": "47 ohm"})
    assert agrees(figure("phase_margin_deg", **tables), "65.007")


def test_e36b_a_faster_device_is_worse_off() -> None:
    assert agrees(figure("phase_margin_deg", **capacitive("50 MHz", "1 nF")), "10.195")


def test_wrong_overshoot_of_a_margin_read_as_damping() -> None:
    """Phase margin over 100 is a rule for damping, and no more: 22.5 deg would give 49 %."""
    damping = 0.22544
    rule = 100.0 * math.exp(-math.pi * damping / math.sqrt(1.0 - damping**2))
    found = figure("overshoot_percent", **capacitive("10 MHz", "1 nF"))
    assert abs(found - rule) > 3.0


def test_ringing_is_the_damped_frequency() -> None:
    tables = capacitive("10 MHz", "1 nF")
    # w0² = w_t / (Ro C), damped by 1 / (2 Ro C) (textbook second-order system)
    natural, decay = math.sqrt(2.0 * math.pi * 10e6 / 100e-9), 0.5 / 100e-9
    expected = math.sqrt(natural**2 - decay**2) / (2.0 * math.pi)
    assert figure("ringing_hz", **tables) == pytest.approx(expected, rel=1e-9)
    assert np.isclose(expected, 3.909e6, rtol=1e-3)
