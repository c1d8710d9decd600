"""Normal equations against numpy's products and solver, and against the fit's own written out."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from stagefx.difference.linear.transfer import SPAN_FRAMES, corners_hz
from stagefx.difference.linear.transfer_fit import _Sums
from stagefx.kernels.normal_equations import add_products, along_diagonals, solve_positive

RANDOM = np.random.default_rng(1)


@pytest.mark.kernel
@pytest.mark.parametrize("size", [1, 8, 21, 85])
def test_a_positive_system_is_solved_as_numpy_solves_it(size: int) -> None:
    rows = RANDOM.standard_normal((2 * size, size))
    matrix, target = rows.T @ rows, RANDOM.standard_normal(size)
    expected = np.linalg.solve(matrix, target)
    upper = np.triu(matrix)
    assert solve_positive(upper, target) == size
    np.testing.assert_allclose(target, expected, rtol=1e-10)
    np.testing.assert_allclose(np.triu(upper), np.linalg.cholesky(matrix).T, rtol=1e-9, atol=1e-12)


@pytest.mark.kernel
def test_an_unknown_that_nothing_tells_of_is_left_at_nothing() -> None:
    matrix, target = np.diag([4.0, 0.0, 2.0]), np.array([4.0, 1.0, 1.0])
    assert solve_positive(matrix, target) == 2
    assert target == pytest.approx([1.0, 0.0, 0.5], rel=1e-15)


@pytest.mark.kernel
def test_products_are_numpys_above_the_diagonal() -> None:
    rows, matrix = RANDOM.standard_normal((16, 13)), np.zeros((13, 13))
    assert add_products(rows, 3, -1.0, matrix) == 10
    expected = np.zeros((13, 13))
    expected[3:, 3:] = -np.triu(rows[:, 3:].T @ rows[:, 3:])
    np.testing.assert_allclose(matrix, expected, atol=1e-13)


@pytest.mark.kernel
def test_diagonals_are_summed_along() -> None:
    start = RANDOM.standard_normal((7, 7))
    matrix = start.copy()
    assert along_diagonals(matrix, 5) == 5
    for i in range(5):
        for j in range(i, 5):
            expected = sum(start[i - back, j - back] for back in range(i + 1))
            assert matrix[i, j] == pytest.approx(expected, abs=1e-12)
    assert np.array_equal(matrix[5:], start[5:])


def test_the_fits_sums_are_those_over_all_frames_of_its_stretches() -> None:
    """Two stretches with music between them, each row of the design written out."""
    rate_hz = 48000
    u = lfilter([1.0], [1.0, -0.9], RANDOM.standard_normal(30_000))
    more = RANDOM.standard_normal(len(u))
    shares = -np.expm1(-2.0 * np.pi * corners_hz(rate_hz) / rate_hz)
    slow = np.stack([lfilter([q], [1.0, q - 1.0], u) for q in shares], axis=1)
    sums, design, target = _Sums(rate_hz), [], []
    for begin, end in ((2000, 7000), (20_000, 21_500)):
        padded = np.zeros(len(sums._shares))
        padded[: len(shares)] = slow[begin - 1]
        sums.add(u[begin - SPAN_FRAMES : end], more[begin:end], padded)
        rows = np.arange(begin, end)
        late = u[rows[:, None] - np.arange(SPAN_FRAMES + 1)]
        design.append(np.hstack([late, slow[rows], np.ones((len(rows), 1))]))
        target.append(more[rows])
    whole = np.concatenate(design)
    expected = whole.T @ whole
    found = sums.matrix()
    found = np.triu(found) + np.triu(found, 1).T
    scale = np.sqrt(np.diag(expected))
    assert np.abs((found - expected) / np.outer(scale, scale)).max() < 1e-11
    assert sums._products[1, : len(shares)] == pytest.approx(
        (np.concatenate(target) @ whole)[SPAN_FRAMES + 1 : -1], rel=1e-9, abs=1e-9
    )
