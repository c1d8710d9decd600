"""Normal equations of a least-squares fit: filled, and solved, in one fixed order of sums."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from stagefx.kernels._jit import jit

Array = NDArray[np.float64]

AT_ONCE = 8
"""Rows added up together."""
_BLOCK = 64
"""Rows that stay in a processor's cache while all others are worked on."""


@jit
def _add_eight(rows: Array, at: int, column: int, sign: float, to: Array) -> int:
    """to[j] += sign Σ of eight rows[s, column] rows[s, j], j >= column."""
    a, b, c, d = (
        rows[at, column:],
        rows[at + 1, column:],
        rows[at + 2, column:],
        rows[at + 3, column:],
    )
    e, f, g, h = (
        rows[at + 4, column:],
        rows[at + 5, column:],
        rows[at + 6, column:],
        rows[at + 7, column:],
    )
    p, q, r, s = sign * a[0], sign * b[0], sign * c[0], sign * d[0]
    t, u, v, w = sign * e[0], sign * f[0], sign * g[0], sign * h[0]
    out = to[column:]
    for j in range(out.size):
        early = (p * a[j] + q * b[j]) + (r * c[j] + s * d[j])
        late = (t * e[j] + u * f[j]) + (v * g[j] + w * h[j])
        out[j] += early + late
    return AT_ONCE


@jit
def add_products(rows: Array, first: int, sign: float, matrix: Array) -> int:
    """Add the products of columns with each other, on and above the diagonal.

    matrix[i, j] += sign Σ rows[s, i] rows[s, j], first <= i <= j
    """
    size = len(matrix)
    for i in range(first, size):
        for at in range(0, len(rows), AT_ONCE):
            _add_eight(rows, at, i, sign, matrix[i])
    return size - first


@jit
def along_diagonals(matrix: Array, count: int) -> int:
    """Running sums along the diagonals of a matrix's first rows and columns.

    matrix[i, j] += matrix[i - 1, j - 1], 1 <= i <= j < count
    """
    for i in range(1, count):
        before, here = matrix[i - 1], matrix[i]
        for j in range(i, count):
            here[j] += before[j - 1]
    return count


@jit
def solve_positive(matrix: Array, target: Array) -> int:
    """Solve a symmetric positive definite system by its Cholesky factor.

    matrix = U^T U;  U^T y = target, U x = y
    """
    size, found = target.size, 0
    for start in range(0, size, _BLOCK):
        stop = min(start + _BLOCK, size)
        for r in range(start, stop):
            row = matrix[r]
            whole = start + (r - start) // AT_ONCE * AT_ONCE
            for at in range(start, whole, AT_ONCE):
                _add_eight(matrix, at, r, -1.0, row)
            for at in range(whole, r):
                above = matrix[at]
                share = above[r]
                for j in range(r, size):
                    row[j] -= share * above[j]
            scale = 0.0
            if row[r] > 0.0:
                scale = 1.0 / math.sqrt(row[r])
                found += 1
            for j in range(r, size):
                row[j] *= scale
        for i in range(stop, size):
            for at in range(start, stop, AT_ONCE):
                _add_eight(matrix, at, i, -1.0, matrix[i])
    for i in range(size):
        row = matrix[i]
        target[i] = target[i] / row[i] if row[i] > 0.0 else 0.0
        share = target[i]
        for j in range(i + 1, size):
            target[j] -= share * row[j]
    for i in range(size - 1, -1, -1):
        row = matrix[i]
        rest = target[i]
        for j in range(i + 1, size):
            rest -= row[j] * target[j]
        target[i] = rest / row[i] if row[i] > 0.0 else 0.0
    return found
