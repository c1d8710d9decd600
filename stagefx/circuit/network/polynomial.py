"""Polynomials of the Laplace variable, one row a draw, coefficients by rising powers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.values import Array

Complex = NDArray[np.complex128]


def times(p: Array, q: Array) -> Array:
    """The product of two polynomials."""
    draws = max(p.shape[0], q.shape[0])
    product = np.zeros((draws, p.shape[1] + q.shape[1] - 1))
    for power in range(p.shape[1]):
        product[:, power : power + q.shape[1]] += p[:, power : power + 1] * q
    return product


def plus(p: Array, q: Array) -> Array:
    """The sum of two polynomials."""
    total = np.zeros((max(p.shape[0], q.shape[0]), max(p.shape[1], q.shape[1])))
    total[:, : p.shape[1]] += p
    total[:, : q.shape[1]] += q
    return total


def raised(p: Array) -> Array:
    """A polynomial times the variable."""
    return np.concatenate([np.zeros((p.shape[0], 1)), p], axis=1)


def trimmed(p: Array) -> Array:
    """A polynomial without the highest powers that no draw has."""
    used = np.flatnonzero(np.any(p != 0.0, axis=0))
    return p[:, : 1 if used.size == 0 else int(used[-1]) + 1]


def value(p: Array, s: Complex) -> Complex:
    """A polynomial's value."""
    total = np.zeros(np.broadcast_shapes((p.shape[0], 1), s.shape), dtype=np.complex128)
    for power in reversed(range(p.shape[1])):
        total = total * s + p[:, power : power + 1]
    return total


def slope(p: Array) -> Array:
    """The derivative of a polynomial."""
    if p.shape[1] == 1:
        return np.zeros_like(p)
    return p[:, 1:] * np.arange(1, p.shape[1])


def roots(p: Array) -> Complex:
    """The roots of polynomials of one degree, draw by draw."""
    degree = p.shape[1] - 1
    if degree < 1:
        return np.zeros((p.shape[0], 0), dtype=np.complex128)
    scale = np.abs(p[:, :1] / p[:, -1:]) ** (1.0 / degree)
    scaled = p * scale ** np.arange(degree + 1)
    companion = np.zeros((p.shape[0], degree, degree))
    companion[:, np.arange(1, degree), np.arange(degree - 1)] = 1.0
    companion[:, :, -1] = -scaled[:, :-1] / scaled[:, -1:]
    return np.asarray(np.linalg.eigvals(companion) * scale, dtype=np.complex128)
