"""Sums over two pieces against numpy's."""

from __future__ import annotations

import numpy as np
import pytest

from stagefx.kernels.pair_sums import add_spectra, add_squares

pytestmark = pytest.mark.kernel
RANDOM = np.random.default_rng(1)


def test_squares_and_products_are_numpys() -> None:
    first, second = RANDOM.standard_normal((2, 100, 3))
    sums, more = np.ones((3, 3)), np.empty((90, 3))
    assert add_squares(first, second[:90], -2.0, sums, more) == 90
    x, d = first[:90], second[:90] / -2.0 - first[:90]
    assert np.array_equal(more, d)
    expected = [(x * x).sum(axis=0), (x * d).sum(axis=0), (d * d).sum(axis=0)]
    np.testing.assert_allclose(sums - 1.0, expected, rtol=1e-13)


def test_spectra_are_those_of_windowed_segments() -> None:
    """0 Hz and half the rate included: both lie on the mirror."""
    first, second = RANDOM.standard_normal((2, 64)) + 3.0
    angle = 2.0 * np.pi * np.arange(64) / 64
    window, slope = 0.5 - 0.5 * np.cos(angle), np.sin(angle)
    x, y, s = (np.fft.rfft(each) for each in (first * window, second * window, first * slope))
    plain = [np.fft.rfft(each).view(np.float64).reshape(-1, 2) for each in (first, second)]
    powers, products = np.ones((3, 33)), np.zeros((3, 33, 2))
    assert add_spectra(*plain, powers, products) == 33
    np.testing.assert_allclose(powers - 1.0, np.abs([x, y, s]) ** 2, atol=1e-11)
    expected = np.array([x.conj() * y, x.conj() * s, s.conj() * y])
    np.testing.assert_allclose(products.view(np.complex128)[..., 0], expected, atol=1e-11)
