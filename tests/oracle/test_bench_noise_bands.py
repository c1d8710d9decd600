"""Noise in an instrument's band, against adaptive integration of the density."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from stagefx.bench.readings.closed_forms.noise_bands import Band, noise_powers
from stagefx.bench.readings.conditions import on_bench
from stagefx.circuit.circuit import Circuit
from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.circuit.noise import noise_density

CIRCUIT = on_bench(load_stage("line-stage"), ended_by_ohm=2.5e3, unloaded=True)


def density(circuit: Circuit, hz: float) -> float:
    found = noise_density(circuit, np.array([hz]))
    flicker = sum(float(psd[0, 0]) for psd in found.flicker.values()) if hz >= 20.0 else 0.0
    return sum(float(psd[0, 0]) for psd in found.white.values()) + flicker


def integral(band: Band, highest_hz: float) -> float:
    def weighed(log_hz: float) -> float:
        hz = math.exp(log_hz)
        share = 1.0 / (1.0 + (hz / band.bandwidth_hz) ** 2) if band.one_pole else 1.0
        return density(CIRCUIT, hz) * share * hz

    edges = [math.log(hz) for hz in (1e-4, 1.0, 20.0, 2e3, 2e4, 1e6, 3e7, 1e10) if hz < highest_hz]
    edges.append(math.log(highest_hz))
    return sum(quad(weighed, a, b, epsrel=1e-8, limit=200)[0] for a, b in zip(edges, edges[1:]))  # noqa: B905, RUF007


@pytest.mark.parametrize(
    ("band", "highest_hz"),
    [(Band(80e3), 80e3), (Band(3e3), 3e3), (Band(100e3, one_pole=True), 1e11)],
)
def test_the_power_in_a_band(band: Band, highest_hz: float) -> None:
    parts = noise_powers(CIRCUIT, band)
    ripple = parts.pop("supply ripple", 0.0)
    assert sum(parts.values()) == pytest.approx(integral(band, highest_hz), rel=1e-5)
    assert ripple > 0.0


def test_bands_join_at_20_khz() -> None:
    audio, almost = (
        sum(noise_powers(CIRCUIT, band).values()) for band in (Band(), Band(20e3 * (1.0 + 1e-9)))
    )
    assert almost == pytest.approx(audio, rel=1e-6)


def test_one_pole_lets_through_half_pi_of_white_noise() -> None:
    circuit = on_bench(stage_from({}), ended_by_ohm=10e3)
    narrow, wide = (
        sum(noise_powers(circuit, band).values())
        for band in (Band(50e3), Band(50e3, one_pole=True))
    )
    assert wide / narrow == pytest.approx(math.pi / 2.0, rel=1e-9)
    assert Band(50e3, one_pole=True).white_hz == pytest.approx(50e3 * math.pi / 2.0)
