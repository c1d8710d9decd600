"""The exact solve of a ladder of parts, in series with the line or across it.

Nothing is approximated by "its own corner": loaded controls, interacting poles and corners that
depend on the source come out of the one solve, vectorised over frequencies and draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

BOLTZMANN_J_PER_K = 1.380649e-23
"""Exact, by the definition of the kelvin (SI, 2019)."""


@dataclass(frozen=True)
class Part:
    """One resistor or capacitor of a ladder."""

    name: str
    kind: Literal["resistor", "capacitor"]
    value: Array
    across: bool = field(kw_only=True)


@dataclass(frozen=True)
class Thevenin:
    """What a ladder looks like from its end."""

    transfer: Complex
    impedance_ohm: Complex
    noise: dict[str, Array]


def laplace(hz: Array) -> Complex:
    """The Laplace variable on the frequency axis."""
    return np.asarray(2j * np.pi * np.asarray(hz, dtype=np.float64))


def solve(
    parts: Sequence[Part],
    s: Complex,
    *,
    temperature_k: float | None = None,
    driven_from_ohm: Complex | None = None,
) -> Thevenin:
    """Walk a ladder from the EMF to its end.

    Each part in series adds its impedance; each part across divides the voltage by its share.
    The noise, summed over the parts, equals 4 k T Re Z of the end (Nyquist, Physical Review 32,
    1928, 110-113).
    """
    draws = max((part.value.shape[0] for part in parts), default=1)
    shape = np.broadcast_shapes((draws, 1), s.shape)
    transfer = np.ones(shape, dtype=np.complex128)
    begin = 0.0 if driven_from_ohm is None else driven_from_ohm
    impedance = np.zeros(shape, dtype=np.complex128) + begin
    noise: dict[str, Array] = {}
    density = None if temperature_k is None else 4.0 * BOLTZMANN_J_PER_K * temperature_k
    for part in parts:
        if not part.across:
            impedance = impedance + _impedance(part, s)
            added = part.value if density is not None and part.kind == "resistor" else None
        else:
            kept = _kept(part, s, impedance)
            transfer, impedance = transfer * kept, impedance * kept
            noise = {name: psd * np.abs(kept) ** 2 for name, psd in noise.items()}
            added = None
            if density is not None and part.kind == "resistor":
                # the part's noise current 4kT/R into the impedance left at the node
                safe = np.where(part.value > 0.0, part.value, np.inf)
                added = np.abs(impedance) ** 2 / safe
        if added is not None and density is not None:
            noise[part.name] = noise.get(part.name, 0.0) + density * np.broadcast_to(added, shape)
    return Thevenin(transfer, impedance, noise)


def _impedance(part: Part, s: Complex) -> Complex:
    if part.kind == "resistor":
        return part.value.astype(np.complex128)
    return np.asarray(1.0 / (s * part.value))


def _kept(part: Part, s: Complex, impedance: Complex) -> Complex:
    """Share of the open-circuit voltage that is left with the part across."""
    if part.kind == "capacitor":
        return np.asarray(1.0 / (1.0 + s * part.value * impedance))
    total = part.value + impedance
    shorted = total == 0.0
    return np.asarray(np.where(shorted, 0.0, part.value / np.where(shorted, 1.0, total)))


def input_admittance(
    parts: Sequence[Part], s: Complex, *, ended_by_ohm: Complex | None = None
) -> Complex:
    """The admittance of a ladder seen from its beginning."""
    draws = max((part.value.shape[0] for part in parts), default=1)
    admittance = np.zeros(np.broadcast_shapes((draws, 1), s.shape), dtype=np.complex128)
    if ended_by_ohm is not None:
        admittance = admittance + inverse(ended_by_ohm)
    for part in reversed(parts):
        if not part.across:
            admittance = _in_series(admittance, _impedance(part, s))
        elif part.kind == "capacitor":
            admittance = admittance + s * part.value
        else:
            admittance = admittance + inverse(part.value.astype(np.complex128))
    return admittance


def inverse(value: Complex) -> Complex:
    """Impedance to admittance and back, a short being infinite."""
    shorted = value == 0.0
    return np.asarray(np.where(shorted, np.inf, 1.0 / np.where(shorted, 1.0, value)))


def _in_series(admittance: Complex, impedance: Complex) -> Complex:
    """Admittance of an impedance in series with what has an admittance, infinite included."""
    shorted = np.isinf(admittance)
    finite = np.where(shorted, 0.0, admittance)
    return np.where(shorted, inverse(impedance), finite / (1.0 + finite * impedance))


def coupling_poles(parts: Sequence[Part]) -> Array:
    """The poles that a ladder's coupling capacitors make.

    The ladder's chain matrix is multiplied out as polynomials of s; with resistors and
    capacitors alone all its poles are real and negative (textbook network theory).
    """
    forward, count = _open_circuit_polynomial(parts)
    if count == 0:
        return np.zeros(0)
    roots = np.roots(forward[::-1])
    roots = _polished(forward, np.sort(-roots.real))
    return np.asarray(roots[:count] * _UNIT_RAD_PER_S)


_UNIT_RAD_PER_S = 2.0 * np.pi * 1000.0


def _open_circuit_polynomial(parts: Sequence[Part]) -> tuple[Array, int]:
    """Denominator of the transfer, rising powers of s in units of 1 kHz; and its zeros at 0 Hz."""
    # Chain matrix row (A, B): A is the inverse transfer, B the series impedance.
    a, b, zeros = np.ones(1), np.zeros(1), 0
    for part in parts:
        value = float(part.value[0, 0])
        if part.kind == "resistor":
            if part.across:
                a = _sum(a, b / value) if value > 0.0 else a
            else:
                b = _sum(b, a * value)
        elif part.across:
            a = _sum(a, np.concatenate(([0.0], b)) * value * _UNIT_RAD_PER_S)
        else:
            b = _sum(np.concatenate(([0.0], b)), a / (value * _UNIT_RAD_PER_S))
            a, zeros = np.concatenate(([0.0], a)), zeros + 1
    floating = int(np.argmax(a != 0.0))  # capacitors that carry no current cancel their zero
    return np.trim_zeros(a, "b")[floating:], zeros - floating


def _sum(p: Array, q: Array) -> Array:
    longer, shorter = (p, q) if p.size >= q.size else (q, p)
    total = longer.copy()
    total[: shorter.size] += shorter
    return total


def _polished(polynomial: Array, roots: Array) -> Array:
    """Newton's correction of real roots -r of a polynomial with rising powers."""
    value = np.polynomial.Polynomial(polynomial)
    slope = value.deriv()
    for _ in range(4):
        step = value(-roots) / slope(-roots)
        roots = np.where(np.isfinite(step), roots + step, roots)
    return roots
