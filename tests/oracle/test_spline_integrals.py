"""The limiter's integrals against scipy's B-splines and quadrature."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import fixed_quad
from scipy.interpolate import BSpline, lagrange

from stagefx.kernels import limiter

NODES = {
    "_SIX": [-2, -1, 0, 1, 2, 3],
    "_FOUR": [-1, 0, 1, 2],
    "_LINE": [0, 1],
}


@pytest.mark.parametrize("name", NODES)
def test_whole_interval_integrals_are_those_of_the_splines(name: str) -> None:
    nodes = NODES[name]
    table = np.array(getattr(limiter, name))
    for row, node in enumerate(nodes):
        values = [1.0 if other == node else 0.0 for other in nodes]
        polynomial = lagrange(nodes, values)
        for column, centre in enumerate([-1, 0, 1, 2]):
            spline = BSpline.basis_element(centre + np.arange(-2.0, 3.0), extrapolate=False)
            expected, _ = fixed_quad(lambda s, b=spline, p=polynomial: p(s) * b(s), 0.0, 1.0, n=8)
            assert table[row, column] == pytest.approx(expected, abs=1e-14)


def test_what_a_node_s_lag_gives_on_all_intervals_is_the_sum_of_what_it_gives_on_each() -> None:
    table = np.array(limiter._FOUR)
    for distance, weight in enumerate(limiter._AT_NODES):
        for side in (-1, 1):  # a spline's centre lies at column - 1
            total = sum(
                table[row, column]
                for row, node in enumerate(NODES["_FOUR"])
                for column in range(4)
                if node - (column - 1) == side * distance
            )
            assert weight == pytest.approx(total, abs=1e-15)
