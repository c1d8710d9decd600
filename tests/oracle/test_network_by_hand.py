"""Networks against formulas worked out by hand.  Tolerance: 1e-9 relative."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, strategies as st

from stagefx.circuit.amplifier.small_signal import Amplifier
from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.network.ladder import laplace
from stagefx.circuit.response import Response

HZ = np.geomspace(10.0, 1e6, 11)
S = laplace(HZ)
OHM = st.floats(10.0, 1e6)
SHARE = st.floats(0.01, 0.99)


def response(tables: dict[str, Any]) -> Response:
    return Response(nominal(stage_from(tables)), HZ)


def close(found: np.ndarray, wanted: np.ndarray) -> None:
    assert np.abs(found[0] / wanted - 1.0).max() < 1e-9


@given(whole=OHM, source=OHM, load=OHM, share=SHARE)
def test_a_loaded_control(whole: float, source: float, load: float, share: float) -> None:
    upper, lower = source + whole * (1.0 - share), whole * share
    below = lower * load / (lower + load)
    tables = {
        "source": {"resistance": f"{source!r} ohm"},
        "volume": {"resistance": f"{whole!r} ohm", "position": share},
        "load": {"resistance": f"{load!r} ohm"},
    }
    found = response(tables)
    close(found.to_load, np.full(HZ.size, below / (upper + below)))
    close(found.input_impedance_ohm, np.full(HZ.size, upper - source + below))
    close(found.output_impedance_ohm, np.full(HZ.size, upper * lower / (upper + lower)))


def test_two_low_passes_that_pull_at_one_another() -> None:
    """1 / (1 + s (R1 C1 + R1 C2 + R2 C2) + s² R1 C1 R2 C2)."""
    r1, c1, r2, c2 = 600.0, 2e-9, 10e3, 470e-12
    tables = {
        "source": {"resistance": "600 ohm"},
        "input_cable": {"capacitance": "2 nF"},
        "input": {"series_resistance": "10 kohm", "shunt_capacitance": "470 pF"},
    }
    wanted = 1.0 / (1.0 + S * (r1 * c1 + r1 * c2 + r2 * c2) + S**2 * r1 * c1 * r2 * c2)
    close(response(tables).to_load, wanted)


def test_two_coupling_capacitors_that_pull_at_one_another() -> None:
    """A source capacitor into a control, and a second one behind it into a resistor."""
    c1, whole, c2, load = 1e-6, 10e3, 0.22e-6, 47e3
    tables = {
        "source": {"coupling": "1 uF"},
        "volume": {"resistance": "10 kohm", "position": 1.0},
        "input": {"coupling": "0.22 uF", "resistance": "47 kohm"},
    }
    second = 1.0 / (S * c2) + load
    below = whole * second / (whole + second)
    close(response(tables).to_load, below / (below + 1.0 / (S * c1)) * load / second)


def test_a_feedback_capacitor_rolls_off_to_unity() -> None:
    """1 + (Rf/Rg) / (1 + s Rf Cf): never below 1."""
    amplifier = {
        "feedback_resistance": "10 kohm",
        "gain_resistance": "3.3 kohm",
        "feedback_capacitance": "330 pF",
    }
    wanted = 1.0 + 10e3 / 3.3e3 / (1.0 + S * 10e3 * 330e-12)
    close(response({"amplifier": amplifier}).to_load, wanted)


def test_an_inverting_stage_counts_its_source_into_the_gain() -> None:
    """-Rf / (Rg + Rs + 1/(s C)), and the input resistance is Rg."""
    tables = {
        "source": {"resistance": "1 kohm"},
        "amplifier": {
            "topology": "inverting",
            "feedback_resistance": "22 kohm",
            "gain_resistance": "10 kohm",
            "gain_leg_capacitance": "1 uF",
        },
    }
    found = response(tables)
    leg = 10e3 + 1.0 / (S * 1e-6)
    close(found.to_load, -22e3 / (leg + 1e3))
    close(found.input_impedance_ohm, leg)


def test_a_real_device_lifts_the_virtual_ground() -> None:
    """The input impedance is Rg + Rf/(1 + A), with a device that drives without resistance."""
    tables = {
        "amplifier": {
            "topology": "inverting",
            "feedback_resistance": "10 kohm",
            "gain_resistance": "10 kohm",
            "open_loop_gain": "80 dB",
            "gain_bandwidth": "1 MHz",
        },
    }
    open_loop = 1.0 / (1e-4 + S / (2.0 * np.pi * 1e6))
    found = response(tables)
    close(found.input_impedance_ohm, 10e3 + 10e3 / (1.0 + open_loop))
    close(found.to_load, -open_loop / (2.0 + open_loop))


@pytest.mark.parametrize("gain", [1.0, 4.0, 11.0])
def test_a_loop_with_two_poles(gain: float) -> None:
    """A / (1 + A/N), A0 = 1e5, 10 MHz, second pole 25 MHz."""
    amplifier = {
        "gain": gain,
        "open_loop_gain": "100 dB",
        "gain_bandwidth": "10 MHz",
        "second_pole": "25 MHz",
    }
    unity, second = 2.0 * np.pi * 10e6, 2.0 * np.pi * 25e6
    open_loop = 1e5 / ((1.0 + S * 1e5 / unity) * (1.0 + S / second))
    # 1e5/(1 + s 1e5/w_t) and 1/(1e-5 + s/w_t) are the same
    close(response({"amplifier": amplifier}).to_load, open_loop / (1.0 + open_loop / gain))


def test_output_resistance_and_a_capacitive_load() -> None:
    """The loop gain gains a pole at 1/(Ro C), and a zero where a resistor stands between."""
    ro, series, farads = 100.0, 47.0, 1e-9
    device = {"gain_bandwidth": "10 MHz", "open_loop_output_resistance": "100 ohm"}
    bare = {
        "amplifier": {"topology": "follower", **device},
        "load": {"capacitance": "1 nF"},
    }
    open_loop = 2.0 * np.pi * 10e6 / S
    found = Amplifier(nominal(stage_from(bare)), S).loop_gain
    close(found, open_loop / (1.0 + S * ro * farads))
    isolated = bare | {"output": {"resistance": "47 ohm"}}
    found = Amplifier(nominal(stage_from(isolated)), S).loop_gain
    zero, pole = 1.0 + S * series * farads, 1.0 + S * (ro + series) * farads
    close(found, open_loop * zero / pole)


def test_output_impedance_of_a_closed_loop() -> None:
    """Ro / (1 + A beta), then the output resistor and the capacitor in series."""
    tables = {
        "amplifier": {
            "gain": 4.0,
            "open_loop_gain": "100 dB",
            "open_loop_output_resistance": "60 ohm",
        },
        "output": {"resistance": "47 ohm", "coupling": "22 uF"},
    }
    found = response(tables).output_impedance_ohm
    close(found, 60.0 / (1.0 + 1e5 / 4.0) + 47.0 + 1.0 / (S * 22e-6))
