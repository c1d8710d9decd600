"""Low-passes side by side against scipy's recursive filter."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import lfilter

from stagefx.difference.linear.transfer import LongMemory, WeightedMemory, corners_hz
from stagefx.kernels.filters.low_passes import low_pass_products, low_passes, pass_by

pytestmark = pytest.mark.kernel
Array = NDArray[np.float64]
X = np.random.default_rng(1).standard_normal(1000)
SHARES = np.array([0.5, 0.1, 0.001, 0.03, 0.2, 1e-6, 0.0, 0.0])


def twins(x: Array, shares: Array) -> Array:
    return np.stack([lfilter([share], [1.0, share - 1.0], x) for share in shares], axis=1)


def test_every_low_pass_is_scipys_and_remembers() -> None:
    state, z = np.zeros(8), np.empty((1000, 8))
    assert low_passes(X[:333], SHARES, state, z[:333]) == 333
    assert low_passes(X[333:], SHARES, state, z[333:]) == 667
    assert np.abs(z - twins(X, SHARES)).max() < 1e-12
    assert np.array_equal(state, z[-1])


def test_frames_passed_by_are_remembered() -> None:
    ages = np.arange(15, -1, -1)[:, None]
    table = np.concatenate([SHARES * (1.0 - SHARES) ** ages, (1.0 - SHARES)[None, :] ** 16])
    state = np.zeros(8)
    assert pass_by(X[:992], table, state) == 992
    np.testing.assert_allclose(state, twins(X, SHARES)[991], rtol=1e-12, atol=1e-15)


def test_products_are_those_of_the_twins() -> None:
    more, state, sums = X[::-1].copy(), np.zeros(8), np.ones((3, 8))
    assert low_pass_products(X, more, SHARES, state, sums) == 1000
    z = twins(X, SHARES)
    np.testing.assert_allclose(sums - 1.0, [X @ z, more @ z, z.sum(axis=0)], atol=1e-11)
    np.testing.assert_allclose(state, z[-1], rtol=1e-12)


@pytest.mark.parametrize("cut", [0, 320, 333])
def test_weighted_low_passes_are_the_sum_of_the_twins(cut: int) -> None:
    """In stretches of any length, and after something has been passed by."""
    weights = np.random.default_rng(2).standard_normal(len(corners_hz(44100)))
    shares = -np.expm1(-2.0 * np.pi * corners_hz(44100) / 44100)
    memory, out = WeightedMemory(44100, weights), np.zeros(1000)
    memory.pass_by(X[:100])
    for part in (slice(100, 100 + cut), slice(100 + cut, 1000)):
        memory.add(X[part], out[part])
    np.testing.assert_allclose(out[100:], (twins(X, shares) @ weights)[100:], atol=1e-13)


def test_memory_passed_by_is_memory_gone_through() -> None:
    one, other = LongMemory(48000), LongMemory(48000)
    one.pass_by(X)
    z = other.through(X)
    np.testing.assert_allclose(one.state, z[-1], rtol=1e-11, atol=1e-16)


def test_silence_settles_to_nothing_and_no_frames_are_none() -> None:
    state, z = np.array([1e-140]), np.empty((6400, 1))
    low_passes(np.zeros(6400), np.array([0.5]), state, z)
    assert state[0] == 0.0
    assert low_passes(np.zeros(0), np.array([0.5]), state, z[:0]) == 0
