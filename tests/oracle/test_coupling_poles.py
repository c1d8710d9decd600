"""The poles of coupling capacitors against the eigenvalues of the circuit's own matrices."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.linalg import eigvals

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.network.ladder import Part, coupling_poles, laplace, solve
from stagefx.circuit.network.placement import input_parts, output_parts
from tests.oracle.random_stages import random_stage

TRAPPED_RAD_PER_S = 1e-6
"""Slower than this is charge between capacitors that no resistor lets go: no pole at all."""


def parts_of(tables: dict[str, Any]) -> list[Part]:
    circuit = nominal(stage_from(tables))
    return [*input_parts(circuit), *output_parts(circuit)]


def natural_rad_per_s(parts: list[Part]) -> np.ndarray:
    """Minus the natural frequencies of a ladder with its EMF shorted: G v + s C v = 0."""
    nodes, node = 0, 0
    stamps = []
    for part in parts:
        if part.across:
            stamps.append((part, node, 0))
        else:
            nodes += 1
            stamps.append((part, node, nodes))
            node = nodes
    conductance = np.zeros((nodes + 1, nodes + 1))
    capacitance = np.zeros((nodes + 1, nodes + 1))
    for part, a, b in stamps:
        value = float(part.value[0, 0])
        matrix, size = (
            (conductance, 1.0 / value) if part.kind == "resistor" else (capacitance, value)
        )
        if a == 0 and b == 0:
            continue
        matrix[a, a] += size
        matrix[b, b] += size
        matrix[a, b] -= size
        matrix[b, a] -= size
    # row 0 is the shorted EMF and ground; frequencies counted in kilohertz, for even numbers
    unit = 2.0 * np.pi * 1e3
    found = eigvals(-conductance[1:, 1:], capacitance[1:, 1:] * unit)
    rates = np.sort(-found[np.isfinite(found)].real * unit)
    return rates[rates > TRAPPED_RAD_PER_S]


@pytest.mark.parametrize("seed", range(30))
def test_against_eigenvalues(seed: int) -> None:
    tables = random_stage(seed)
    del tables["amplifier"]  # so that all coupling capacitors stand in one ladder
    parts = parts_of(tables)
    ours = coupling_poles(parts)
    assert ours.size == blocked_times(parts)
    theirs = natural_rad_per_s(parts)
    np.testing.assert_allclose(ours, theirs[: ours.size], rtol=1e-6)


def blocked_times(parts: list[Part]) -> int:
    """How often direct voltage is blocked: series capacitors, then a resistor to ground."""
    times, blocked = 0, False
    for part in parts:
        if part.kind == "capacitor" and not part.across:
            blocked = True
        elif part.kind == "resistor" and part.across and blocked:
            times, blocked = times + 1, False
    return times


@pytest.mark.parametrize("seed", range(30))
def test_divided_out_the_bass_is_flat(seed: int) -> None:
    """H times the product of (s + p)/s has neither slope nor turn at low frequencies."""
    tables = random_stage(seed)
    del tables["amplifier"]
    parts = parts_of(tables)
    poles = coupling_poles(parts)
    lowest_hz = (poles.min() if poles.size else 1.0) / (2.0 * np.pi)
    hz = lowest_hz * np.geomspace(1e-4, 1e-2, 9)
    s = laplace(hz)
    flat = solve(parts, s).transfer[0]
    for pole in poles:
        flat = flat * (s + pole) / s
    assert np.abs(flat / flat[0] - 1.0).max() < 1e-3
    assert abs(flat[0]) > 0.0
    assert abs(flat[0].imag) < 1e-3 * abs(flat[0])


def test_three_capacitors_that_pull_at_one_another() -> None:
    """Equal sections, not buffered: each alone would be at 100 rad/s, together they lie apart."""
    section = [
        Part("c", "capacitor", np.array([[1e-6]]), across=False),
        Part("r", "resistor", np.array([[10e3]]), across=True),
    ]
    poles = coupling_poles([*section, *section, *section])
    # the textbook's s^3 + 6 s^2 + 5 s + 1, turned round and in units of 100 rad/s
    wanted = np.sort(1.0 / -np.roots([1.0, 5.0, 6.0, 1.0]).real)
    np.testing.assert_allclose(poles, np.sort(wanted) * 100.0, rtol=1e-9)
