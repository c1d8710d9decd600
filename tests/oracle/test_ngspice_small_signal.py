"""Response and noise of whole stages against ngspice, a general-purpose circuit simulator.

Response within 1e-5 dB from 10 Hz to 1 MHz, noise density within 0.001 dB from 10 Hz to 20 kHz.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.noise import noise_density
from stagefx.circuit.response import Response
from tests.oracle.ngspice import elements_as_netlist, noise, response
from tests.oracle.schematic import draw

pytestmark = pytest.mark.simulator

VOLTAGE_NOISE, CURRENT_NOISE = 5e-9, 0.7e-12
DEVICE = {
    "open_loop_gain": "100 dB",
    "gain_bandwidth": "10 MHz",
    "second_pole": "25 MHz",
    "open_loop_output_resistance": "60 ohm",
    "voltage_noise": "5 nV/rtHz",
    "current_noise": "0.7 pA/rtHz",
}
PAIR = {"feedback_resistance": "10 kohm", "gain_resistance": "3.3 kohm"}
SOURCE = {"resistance": "600 ohm", "coupling": "10 uF"}
CABLE = {"length": "3 m", "capacitance_per_metre": "100 pF/m"}
BEFORE = {"resistance": "50 kohm", "taper": "audio 15 %", "position": 0.7}
AFTER = {"resistance": "10 kohm", "setting": "-12 dB", "place": "after"}
INPUT = {
    "coupling": "2.2 uF",
    "series_resistance": "1 kohm",
    "shunt_capacitance": "220 pF",
    "resistance": "100 kohm",
    "capacitance": "10 pF",
}
OUTPUT = {"resistance": "47 ohm", "coupling": "22 uF"}
LOAD = {"resistance": "22 kohm", "capacitance": "470 pF"}
ENDS: dict[str, Any] = {"source": SOURCE, "input_cable": CABLE, "output_cable": CABLE, "load": LOAD}
STAGES: dict[str, dict[str, Any]] = {
    "passive control": {**ENDS, "volume": BEFORE},
    "non-inverting": {
        **ENDS,
        "volume": BEFORE,
        "input": INPUT,
        "amplifier": {
            **PAIR,
            **DEVICE,
            "feedback_capacitance": "22 pF",
            "gain_leg_capacitance": "47 uF",
        },
        "output": OUTPUT,
    },
    "inverting": {
        **ENDS,
        "amplifier": {**PAIR, **DEVICE, "topology": "inverting", "feedback_capacitance": "100 pF"},
        "output": OUTPUT,
    },
    "control after the amplifier": {
        **ENDS,
        "volume": AFTER,
        "input": INPUT,
        "amplifier": {**PAIR, **DEVICE},
        "output": OUTPUT,
    },
    "follower": {
        **ENDS,
        "volume": BEFORE,
        "input": INPUT,
        "amplifier": {"topology": "follower", **DEVICE},
        "output": {"resistance": "100 ohm"},
    },
}


def decibels_apart(found: Any, wanted: Any) -> float:
    return float(np.abs(20.0 * np.log10(np.abs(found) / np.abs(wanted))).max())


@pytest.fixture(params=STAGES)
def stage(request: pytest.FixtureRequest) -> Stage:
    return stage_from(STAGES[request.param])


def test_response(stage: Stage, tmp_path: Path) -> None:
    """Magnitude, and phase within 1e-4 degree."""
    hz, theirs = response(tmp_path, elements_as_netlist(draw(stage)), low_hz=10.0, high_hz=1e6)
    ours = Response(nominal(stage), hz).to_load[0]
    assert hz.size == 26
    assert decibels_apart(ours, theirs) < 1e-5
    assert np.abs(np.angle(ours / theirs, deg=True)).max() < 1e-4


def test_noise(stage: Stage, tmp_path: Path) -> None:
    """Resistors at 298.15 K; the device's noise from resistors of its own."""
    amplifier = stage.amplifier
    netlist = elements_as_netlist(
        draw(stage),
        voltage_noise=VOLTAGE_NOISE,
        current_noise=CURRENT_NOISE,
        grounded_input=amplifier is not None and amplifier.topology == "inverting",
    )
    hz, theirs = noise(tmp_path, netlist, low_hz=10.0, high_hz=20e3)
    density = noise_density(nominal(stage), hz)
    assert not density.flicker
    ours = np.sqrt(sum(psd[0] for psd in density.white.values()))
    assert decibels_apart(ours, theirs) < 1e-3
