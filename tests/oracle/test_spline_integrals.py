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
