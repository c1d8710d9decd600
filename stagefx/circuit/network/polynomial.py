"""Polynomials of the Laplace variable, one row a draw, coefficients by rising powers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.values import Array

Complex = NDArray[np.complex128]


def times(p: Array, q: Array) -> Array:
    """The product of two polynomials.

    Parameters
    ----------
    p, q : array [draws, terms]
        Coefficients by rising powers.

    Returns
    -------
    array [draws, terms]
        Coefficients of the product.

    Examples
    --------
    >>> times(np.array([[1.0, 1.0]]), np.array([[2.0, 3.0]]))
    array([[2., 5., 3.]])
    """
    draws = max(p.shape[0], q.shape[0])
    product = np.zeros((draws, p.shape[1] + q.shape[1] - 1))
    for power in range(p.shape[1]):
        product[:, power : power + q.shape[1]] += p[:, power : power + 1] * q
    return product


def plus(p: Array, q: Array) -> Array:
    """The sum of two polynomials.

    Parameters
    ----------
    p, q : array [draws, terms]
        Coefficients by rising powers.

    Returns
    -------
    array [draws, terms]
        Coefficients of the sum.

    Examples
    --------
    >>> plus(np.array([[1.0]]), np.array([[2.0, 3.0]]))
    array([[3., 3.]])
    """
    total = np.zeros((max(p.shape[0], q.shape[0]), max(p.shape[1], q.shape[1])))
    total[:, : p.shape[1]] += p
    total[:, : q.shape[1]] += q
    return total


def raised(p: Array) -> Array:
    """A polynomial times the variable.

    Parameters
    ----------
    p : array [draws, terms]
        Coefficients by rising powers.

    Returns
    -------
    array [draws, terms + 1]
        Coefficients of the product.

    Examples
    --------
    >>> raised(np.array([[1.0, 2.0]]))
    array([[0., 1., 2.]])
    """
    return np.concatenate([np.zeros((p.shape[0], 1)), p], axis=1)


def trimmed(p: Array) -> Array:
    """A polynomial without the highest powers that no draw has.

    Parameters
    ----------
    p : array [draws, terms]
        Coefficients by rising powers.

    Returns
    -------
    array [draws, terms]
        At least the constant.

    Examples
    --------
    >>> trimmed(np.array([[1.0, 2.0, 0.0]]))
    array([[1., 2.]])
    """
    used = np.flatnonzero(np.any(p != 0.0, axis=0))
    return p[:, : 1 if used.size == 0 else int(used[-1]) + 1]


def value(p: Array, s: Complex) -> Complex:
    """A polynomial's value.

    Parameters
    ----------
    p : array [draws, terms]
        Coefficients by rising powers.
    s : complex array [draws, points] or [points]
        Where.

    Returns
    -------
    complex array [draws, points]
        By Horner's scheme.

    Examples
    --------
    >>> value(np.array([[1.0, 2.0, 3.0]]), np.array([2.0 + 0.0j]))
    array([[17.+0.j]])
    """
    total = np.zeros(np.broadcast_shapes((p.shape[0], 1), s.shape), dtype=np.complex128)
    for power in reversed(range(p.shape[1])):
        total = total * s + p[:, power : power + 1]
    return total


def slope(p: Array) -> Array:
    """The derivative of a polynomial.

    Parameters
    ----------
    p : array [draws, terms]
        Coefficients by rising powers.

    Returns
    -------
    array [draws, terms - 1]
        At least one coefficient.

    Examples
    --------
    >>> slope(np.array([[1.0, 2.0, 3.0]]))
    array([[2., 6.]])
    """
    if p.shape[1] == 1:
        return np.zeros_like(p)
    return p[:, 1:] * np.arange(1, p.shape[1])


def roots(p: Array) -> Complex:
    """The roots of polynomials of one degree, draw by draw.

    Parameters
    ----------
    p : array [draws, terms]
        Coefficients by rising powers; neither the constant nor the leading one 0.

    Returns
    -------
    complex array [draws, terms - 1]
        Eigenvalues of the companion matrix, the variable scaled to their geometric mean.

    Examples
    --------
    >>> np.sort(roots(np.array([[2.0, -3.0, 1.0]])).real).round(12)
    array([[1., 2.]])
    """
    degree = p.shape[1] - 1
    if degree < 1:
        return np.zeros((p.shape[0], 0), dtype=np.complex128)
    scale = np.abs(p[:, :1] / p[:, -1:]) ** (1.0 / degree)
    scaled = p * scale ** np.arange(degree + 1)
    companion = np.zeros((p.shape[0], degree, degree))
    companion[:, np.arange(1, degree), np.arange(degree - 1)] = 1.0
    companion[:, :, -1] = -scaled[:, :-1] / scaled[:, -1:]
    return np.asarray(np.linalg.eigvals(companion) * scale, dtype=np.complex128)
