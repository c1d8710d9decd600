"""Whole stages against lcapy, a symbolic circuit library that knows nothing of ladders or loops.

lcapy gives every answer as an exact ratio of polynomials of s, evaluated here in rational
arithmetic.  Tolerance: 1e-9 relative, 10 Hz to 1 MHz.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from stagefx.circuit.amplifier.small_signal import Amplifier
from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.network.ladder import laplace
from stagefx.circuit.response import Response
from tests.knocks.counts import count
from tests.oracle.random_stages import random_stage
from tests.oracle.schematic import draw, evaluate, lcapy_netlist

HZ = np.geomspace(10.0, 1e6, 11)
CLOSE = 1e-9
DEVICE = {
    "open_loop_gain": "98 dB",
    "gain_bandwidth": "10 MHz",
    "second_pole": "25 MHz",
    "open_loop_output_resistance": "60 ohm",
}
NON_INVERTING = {
    "topology": "non-inverting",
    "feedback_resistance": "10 kohm",
    "gain_resistance": "3.3 kohm",
}
BEFORE = {"resistance": "50 kohm", "taper": "audio 15 %", "position": 0.7}
AFTER = {"resistance": "10 kohm", "setting": "-6.02 dB", "place": "after"}
SOURCE = {"resistance": "600 ohm", "coupling": "10 uF"}
CABLE = {"length": "3 m", "capacitance_per_metre": "100 pF/m"}
INPUT = {
    "coupling": "2.2 uF",
    "series_resistance": "1 kohm",
    "shunt_capacitance": "220 pF",
    "resistance": "100 kohm",
    "capacitance": "10 pF",
}
OUTPUT = {"resistance": "47 ohm", "coupling": "22 uF"}
LOAD = {"resistance": "22 kohm", "capacitance": "470 pF"}
ENDS = {"source": SOURCE, "input_cable": CABLE, "output_cable": CABLE, "load": LOAD}

STAGES: dict[str, dict[str, Any]] = {
    "non-inverting, control before": {
        **ENDS,
        "volume": BEFORE,
        "input": INPUT,
        "output": OUTPUT,
        "amplifier": {
            **NON_INVERTING,
            **DEVICE,
            "feedback_capacitance": "22 pF",
            "gain_leg_capacitance": "47 uF",
        },
    },
    "non-inverting, control after": {
        **ENDS,
        "volume": AFTER,
        "input": INPUT,
        "output": OUTPUT,
        "amplifier": {**NON_INVERTING, **DEVICE},
    },
    "inverting, control before": {
        **ENDS,
        "volume": BEFORE,
        "input": INPUT,
        "output": OUTPUT,
        "amplifier": {
            **NON_INVERTING,
            **DEVICE,
            "topology": "inverting",
            "feedback_capacitance": "100 pF",
            "gain_leg_capacitance": "1 uF",
        },
    },
    "inverting, control after": {
        **ENDS,
        "volume": AFTER,
        "amplifier": {**NON_INVERTING, **DEVICE, "topology": "inverting"},
    },
    "follower": {
        **ENDS,
        "volume": BEFORE,
        "input": INPUT,
        "amplifier": {"topology": "follower", "device": "FET-input"},
    },
    "gain without its parts": {
        **ENDS,
        "input": INPUT,
        "output": OUTPUT,
        "amplifier": {"gain": 4.0, **DEVICE},
    },
    "inverting gain without its parts": {
        **ENDS,
        "input": INPUT,
        "amplifier": {"gain": 4.0, "topology": "inverting", **DEVICE},
    },
    "passive, control before": {**ENDS, "volume": BEFORE, "input": INPUT, "output": OUTPUT},
    "passive, control after": {**ENDS, "volume": AFTER, "input": INPUT, "output": OUTPUT},
}
ALL = STAGES | {f"random {seed}": random_stage(seed) for seed in range(count(30))}
AMPLIFIED = [name for name, tables in ALL.items() if "amplifier" in tables]


@pytest.fixture(params=ALL)
def stage(request: pytest.FixtureRequest) -> Stage:
    return stage_from(ALL[request.param])


def circuit(netlist: str) -> Any:
    import lcapy

    return lcapy.Circuit(netlist)


def close(found: np.ndarray, wanted: np.ndarray) -> None:
    assert found.shape[-1] == wanted.size
    assert np.abs(found / wanted - 1.0).max() < CLOSE


def test_transfer(stage: Stage) -> None:
    """EMF to input socket, to amplifier output and to load."""
    from lcapy import s

    ours = Response(nominal(stage), HZ)
    netlist = lcapy_netlist(draw(stage)) + "V1 emf 0 {delta(t)}\n"
    theirs = circuit(netlist)
    close(ours.at_input_socket[0], evaluate(theirs["socket"].V(s), HZ))
    close(ours.to_load[0], evaluate(theirs["load"].V(s), HZ))
    if stage.amplifier is not None:
        close(ours.to_amplifier_output[0], evaluate(theirs["out"].V(s), HZ))


def test_input_impedance(stage: Stage) -> None:
    from lcapy import s

    ours = Response(nominal(stage), HZ).input_impedance_ohm[0]
    theirs = circuit(lcapy_netlist(draw(stage, source=False))).impedance("socket", 0)
    close(ours, evaluate(theirs(s), HZ))


def test_output_impedance(stage: Stage) -> None:
    from lcapy import s

    ours = Response(nominal(stage), HZ).output_impedance_ohm[0]
    netlist = lcapy_netlist(draw(stage, load=False)) + "W emf 0\n"
    close(ours, evaluate(circuit(netlist).impedance("load", 0)(s), HZ))


@pytest.mark.parametrize("name", AMPLIFIED)
def test_loop_gain(name: str) -> None:
    """The loop cut at the device's input, the EMF at rest."""
    from lcapy import s

    stage = stage_from(ALL[name])
    ours = Amplifier(nominal(stage), laplace(HZ)).loop_gain[0]
    opened = lcapy_netlist(draw(stage, device_driven_by=("test", "0")))
    theirs = circuit(opened + "W emf 0\nV1 test 0 {delta(t)}\n")
    returned = evaluate(theirs["plus"].V(s) - theirs["minus"].V(s), HZ)
    close(ours, -returned)
