"""The noise budget against nodal analysis of the whole circuit, resistor by resistor.

Each resistor drives a noise current 4kT/R through a plain matrix solve that knows nothing of
ladders, loops or noise gains; the device's voltage and currents go in at its own inputs.
Tolerance: 1e-9 relative.
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import pytest

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.noise import noise_density
from tests.oracle.random_stages import random_stage
from tests.oracle.schematic import draw, nodal

HZ = np.array([11.0, 130.0, 1e3, 7e3, 19e3])
CLOSE = 1e-9
BOLTZMANN_J_PER_K = 1.380649e-23
VOLTAGE_NOISE, CURRENT_NOISE = 5e-9, 0.7e-12
DEVICE = {"voltage_noise": "5 nV/rtHz", "current_noise": "0.7 pA/rtHz"}
NAMES = {"feedback": "feedback pair", "gain resistance": "feedback pair"}


def expected(stage: Stage, hz: float) -> dict[str, float]:
    """Noise density at the load by contributor, V²/Hz."""
    elements = draw(stage)
    solved = nodal(elements, "emf", 2.0 * np.pi * hz)
    found: dict[str, float] = defaultdict(float)
    for element in elements:
        if element.kind == "R" and element.name != "device output":
            a, b = element.nodes
            density = 4.0 * BOLTZMANN_J_PER_K * stage.temperature.value / element.values[0]
            volts = solved(0.0, {a: 1.0, b: -1.0}, "load")[0]
            found[NAMES.get(element.name, element.name)] += density * abs(volts) ** 2
    if stage.amplifier is not None:
        volts = solved(0.0, {}, "load", device_volts=VOLTAGE_NOISE)[0]
        found["voltage noise"] = abs(volts) ** 2
        inputs = {"plus": "current noise, input", "minus": "current noise, feedback"}
        for node, name in inputs.items():
            volts = solved(0.0, {node: CURRENT_NOISE}, "load")[0]
            found[name] = abs(volts) ** 2
    return found


@pytest.mark.parametrize("amplified", [True, False], ids=["amplifier", "passive"])
@pytest.mark.parametrize("seed", range(12))
def test_every_contributor(seed: int, amplified: bool) -> None:
    tables = random_stage(seed)
    if amplified:
        tables["amplifier"] |= DEVICE
    else:
        del tables["amplifier"]
    stage = stage_from(tables)
    ours = noise_density(nominal(stage), HZ).white
    for k, hz in enumerate(HZ):
        wanted = {name: psd for name, psd in expected(stage, hz).items() if psd > 1e-40}
        found = {name: float(psd[0, k]) for name, psd in ours.items() if psd[0, k] > 1e-40}
        assert found == pytest.approx(wanted, rel=CLOSE, abs=0.0)
