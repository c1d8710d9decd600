"""Noise: textbook worked examples and handbook values, to the digits given.

25 degC and a brick wall at 20 kHz.  Devices are given by their own figures, without 1/f parts.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.knob import seat_spl_db
from stagefx.circuit.noise import noise_density
from tests.published.worked import agrees, figure

GENERAL_PURPOSE = {"voltage_noise": "5 nV/rtHz", "current_noise": "0.7 pA/rtHz"}
FET = {"voltage_noise": "8 nV/rtHz", "current_noise": "1 fA/rtHz"}
FAST = {"voltage_noise": "3 nV/rtHz", "current_noise": "1.6 pA/rtHz"}
PAIR = {"feedback_resistance": "10 kohm", "gain_resistance": "3.3 kohm"}
CHAIN = {"amplifier_gain": 27, "speaker_sensitivity": "87 dB", "distance": "3 m"}


def density_v(hz: float, **tables: Any) -> float:
    """All noise at the load, V/rtHz."""
    found = noise_density(nominal(stage_from(tables)), np.array([hz]))
    return math.sqrt(sum(float(psd[0, 0]) for psd in found.white.values()))


@pytest.mark.parametrize(
    ("resistance", "microvolts"),
    [
        ("1 kohm", "0.573857"),
        ("2.5 kohm", "0.907348"),
        ("10 kohm", "1.814697"),
        ("12.5 kohm", "2.028893"),
        ("25 kohm", "2.869287"),
    ],
)
def test_e50_thermal_noise(resistance: str, microvolts: str) -> None:
    found = figure("noise_20k_v_rms", source={"resistance": resistance})
    assert agrees(1e6 * found, microvolts)


def test_e50_at_300_kelvin() -> None:
    found = figure("noise_20k_v_rms", source={"resistance": "10 kohm"}, temperature="300 K")
    assert agrees(1e6 * found, "1.820318")


@pytest.mark.parametrize(
    ("kelvin", "nanovolts"),
    [("290 K", "4.0019"), ("293.15 K", "4.0236"), ("298.15 K", "4.0578"), ("300 K", "4.0704")],
)
def test_handbook_density_of_1_kohm(kelvin: str, nanovolts: str) -> None:
    """Johnson noise, k = 1.380649e-23 J/K (SI, exact)."""
    found = density_v(1e3, source={"resistance": "1 kohm"}, temperature=kelvin)
    assert agrees(1e9 * found, nanovolts)


@pytest.mark.parametrize(
    ("kelvin", "microvolts"), [("290 K", "1.7897"), ("293.15 K", "1.7994"), ("300 K", "1.8203")]
)
def test_handbook_noise_of_10_kohm_over_20_khz(kelvin: str, microvolts: str) -> None:
    found = figure("noise_20k_v_rms", source={"resistance": "10 kohm"}, temperature=kelvin)
    assert agrees(1e6 * found, microvolts)


def test_e51_the_feedback_pair_stands_in_parallel() -> None:
    """Its thermal noise at the output is that of 2481.203 ohm, times the gain."""
    found = noise_density(nominal(stage_from({"amplifier": PAIR})), np.array([1e3]))
    at_input = float(found.white["feedback pair"][0, 0]) / (1.0 + 10.0 / 3.3) ** 2
    assert agrees(at_input / (4.0 * 1.380649e-23 * 298.15), "2481.203")


@pytest.mark.parametrize(
    ("device", "microvolts"),
    [
        pytest.param(GENERAL_PURPOSE, ("4.730112", "6.061493", "10.68226", "15.98727"), id="E52"),
        pytest.param(FET, ("5.836417", "6.887424", "10.04629", "12.95347"), id="E53"),
        pytest.param(FAST, ("4.616935", "6.315599", "14.76912", "25.97752"), id="E54"),
    ],
)
def test_output_noise_against_source_resistance(
    device: dict[str, str], microvolts: tuple[str, ...]
) -> None:
    for ohm, wanted in zip((0, 2500, 12_500, 25_000), microvolts, strict=True):
        tables = {"source": {"resistance": f"{ohm} ohm"}, "amplifier": {**PAIR, **device}}
        assert agrees(1e6 * figure("noise_20k_v_rms", **tables), wanted)


def test_e54_the_quietest_device_is_the_noisiest_behind_a_high_resistance() -> None:
    """Current noise times source impedance: why the knob's position belongs into the sum."""

    def noise(device: dict[str, str], ohm: int) -> float:
        tables = {"source": {"resistance": f"{ohm} ohm"}, "amplifier": {**PAIR, **device}}
        return figure("noise_20k_v_rms", **tables)

    assert noise(FAST, 0) < noise(GENERAL_PURPOSE, 0) < noise(FET, 0)
    assert noise(FET, 25_000) < noise(GENERAL_PURPOSE, 25_000) < noise(FAST, 25_000)


@pytest.mark.parametrize(
    ("device", "level_db"),
    [(GENERAL_PURPOSE, "110.3690"), (FET, "109.2595"), (FAST, "110.0123")],
    ids=["general-purpose", "FET", "fast"],
)
def test_e55_signal_to_noise_re_2_v(device: dict[str, str], level_db: str) -> None:
    tables = {"source": {"resistance": "2.5 kohm"}, "amplifier": {**PAIR, **device}}
    found = figure("noise_20k_v_rms", **tables)
    assert agrees(20.0 * math.log10(2.0 / found), level_db)


def test_e56_noise_bandwidth_of_one_pole() -> None:
    """All noise of 10 kohm through a 100 kHz pole, over its density at the bottom."""
    farads = 1.0 / (2.0 * math.pi * 10e3 * 100e3)
    tables = {"source": {"resistance": "10 kohm"}, "load": {"capacitance": f"{farads!r} F"}}
    at_bottom = density_v(1e-3, **tables) ** 2

    def over_octaves(octave: float) -> float:
        return density_v(2.0**octave, **tables) ** 2 * 2.0**octave * math.log(2.0)

    power = quad(over_octaves, -10.0, 45.0, epsabs=0.0, epsrel=1e-10, limit=500)[0]
    power += at_bottom * 2.0**-10
    assert power / at_bottom == pytest.approx(157_079.6, rel=1e-6)
    assert agrees(10.0 * math.log10(power / at_bottom / 20e3), "8.95090")


@pytest.mark.parametrize(
    ("distance_m", "level_db"), [(1.0, "6.596375"), (3.0, "-2.946050"), (0.1, "26.59638")]
)
def test_e57_noise_at_the_speaker(distance_m: float, level_db: str) -> None:
    """10 uV from the stage through a power amplifier of 27 into 87 dB for 2.83 V at 1 m."""
    circuit = nominal(stage_from({"listening": CHAIN}))
    assert agrees(float(seat_spl_db(circuit, np.array([10e-6]), at_m=distance_m)[0]), level_db)
