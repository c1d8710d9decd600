"""Where a smooth function is nought or highest, and how far something holds, draw by draw.

All draws go through a circuit together, so that ten thousand cost little more than one; and without
scipy.optimize, whose import alone takes as long as all of a stage's figures on paper.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.values import Array

_CLOSE = 1e-13
_GOLDEN = (np.sqrt(5.0) - 1.0) / 2.0
_REFINEMENTS = 28
_MOST_STEPS = 60
_HALVINGS = 44

Truth = NDArray[np.bool_]


def root(
    function: Callable[[Array], Array], inside: Array, outside: Array, *, close: float = _CLOSE
) -> Array:
    """Where a function falls to nought between two points.

    Regula falsi, the end that does not move halved (the Illinois rule: M. Dowell, P. Jarratt, BIT
    11, 1971, 168-174).
    """
    missing = np.isnan(inside) | np.isnan(outside)
    a, b = np.where(missing, 0.0, inside), np.where(missing, 0.0, outside)
    at_a, at_b = np.where(missing, 1.0, function(a)), np.where(missing, -1.0, function(b))
    for _ in range(_MOST_STEPS):
        flat = at_b == at_a  # both nought: nothing moves
        middle = b - np.where(flat, 0.0, at_b * (b - a) / np.where(flat, 1.0, at_b - at_a))
        at_middle = np.where(missing, 0.0, function(middle))
        stays = at_middle * at_b > 0.0
        a, at_a = np.where(stays, a, b), np.where(stays, 0.5 * at_a, at_b)
        b, at_b = middle, at_middle
        if np.all(np.abs(at_b) <= close):
            break
    return np.where(missing, np.nan, b)


def highest(function: Callable[[Array], Array], grid: Array) -> tuple[Array, Array]:
    """Where a function is highest, and how high."""
    values = function(grid)
    best = np.argmax(values, axis=1)[:, None]
    last = grid.shape[1] - 1
    left = np.take_along_axis(grid, np.maximum(best - 1, 0), axis=1)
    right = np.take_along_axis(grid, np.minimum(best + 1, last), axis=1)
    inner, outer = right - _GOLDEN * (right - left), left + _GOLDEN * (right - left)
    at_inner, at_outer = function(inner), function(outer)
    for _ in range(_REFINEMENTS):
        rises = at_outer > at_inner
        left, right = np.where(rises, inner, left), np.where(rises, right, outer)
        fresh = np.where(rises, left + _GOLDEN * (right - left), right - _GOLDEN * (right - left))
        at_fresh = function(fresh)
        inner, outer = np.where(rises, outer, fresh), np.where(rises, fresh, inner)
        at_inner, at_outer = (
            np.where(rises, at_outer, at_fresh),
            np.where(rises, at_fresh, at_inner),
        )
    found = np.hstack([inner, np.take_along_axis(grid, best, axis=1)])
    heights = np.hstack([at_inner, np.take_along_axis(values, best, axis=1)])
    top = np.argmax(heights, axis=1)[:, None]
    where, value = (np.take_along_axis(a, top, axis=1)[:, 0] for a in (found, heights))
    return np.asarray(where), np.asarray(value)


def last(
    holds: Callable[[Array], Truth], low: Array, high: Array, *, halvings: int = _HALVINGS
) -> Array:
    """Up to where something holds that holds first and then no longer, by bisection.

    An end of the range where it holds nowhere, or everywhere.
    """
    for _ in range(halvings):
        middle = 0.5 * (low + high)
        found = holds(middle)
        low, high = np.where(found, middle, low), np.where(found, high, middle)
    return np.asarray(0.5 * (low + high))
