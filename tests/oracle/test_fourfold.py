"""Resampling around the limiter, against sines worked out at the nodes and splines integrated."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import BSpline

from stagefx.dsp.oversampling_by_four import (
    DOWN_REACH,
    DOWN_TAPS,
    FACTOR,
    UP_REACH,
    UP_TAPS,
    between_frames,
    between_halves,
    down,
    to_halves,
    up,
)

Array = NDArray[np.float64]
FRAMES = 300
SHARES = [0.0, 0.01, 0.1, 0.25, 0.4, 0.45]
"""Frequencies in sampling rates."""


def wave(share: float, times: Array) -> Array:
    return np.asarray(np.cos(2.0 * np.pi * share * times + 0.4))


@pytest.mark.parametrize("share", SHARES)
def test_nodes_are_what_a_sine_is_there(share: float) -> None:
    times = np.arange(FRAMES + UP_TAPS - 1) - (UP_REACH - 1.0)
    nodes = np.empty(FACTOR * FRAMES)
    up(wave(share, times), nodes)
    assert nodes == pytest.approx(wave(share, np.arange(nodes.size) / FACTOR), abs=5e-7)
    assert np.array_equal(nodes[::FACTOR], wave(share, np.arange(FRAMES) * 1.0))


def integrals(share: float) -> Array:
    """A sine against the cubic B-spline at each node of FRAMES frames and what lies beside."""
    spline = BSpline.basis_element(np.arange(-2.0, 3.0), extrapolate=False)
    at, weight = np.polynomial.legendre.leggauss(10)
    nodes = np.arange(FACTOR * (FRAMES + DOWN_TAPS - 1)) - FACTOR * DOWN_REACH
    total = np.zeros(nodes.size)
    for low in (-2.0, -1.0, 0.0, 1.0):
        for x, w in zip(low + 0.5 + 0.5 * at, 0.5 * weight, strict=True):
            total += w * spline(x) * wave(share, (nodes + x) / FACTOR)
    return total


@pytest.mark.parametrize("share", SHARES)
def test_splines_integrals_of_a_sine_are_brought_back_to_it(share: float) -> None:
    found = np.empty(FRAMES)
    down(integrals(share), found)
    assert found == pytest.approx(wave(share, np.arange(FRAMES) * 1.0), abs=5e-7)


@pytest.mark.parametrize("share", [0.55, 0.7, 1.0, 1.3, 1.45, 1.55, 1.8, 2.0])
def test_what_would_fold_back_is_kept_out(share: float) -> None:
    """By 126 dB re what the nodes hold."""
    nodes = np.arange(FACTOR * (FRAMES + DOWN_TAPS - 1)) / FACTOR
    found = np.empty(FRAMES)
    down(wave(share, nodes), found)
    assert np.abs(found).max() < 10.0 ** (-126.0 / 20.0)


@pytest.mark.parametrize("filters", [between_frames, between_halves, to_halves])
def test_filters_are_symmetric(filters: Callable[[], Array]) -> None:
    taps = filters()
    assert np.array_equal(taps, taps[::-1])
    assert taps.sum() == pytest.approx(1.0, abs=1e-14)


def test_each_frame_has_the_same_bits_however_many_are_worked_on() -> None:
    rng = np.random.default_rng(0)
    samples = rng.standard_normal(FRAMES + UP_TAPS - 1)
    whole, part = np.empty(FACTOR * FRAMES), np.empty(FACTOR * 50)
    up(samples, whole)
    up(samples[70 : 70 + 50 + UP_TAPS - 1], part)
    assert np.array_equal(part, whole[FACTOR * 70 : FACTOR * 120])
    nodes = rng.standard_normal(FACTOR * (FRAMES + DOWN_TAPS - 1))
    done, some = np.empty(FRAMES), np.empty(50)
    down(nodes, done)
    down(nodes[FACTOR * 70 : FACTOR * (70 + 50 + DOWN_TAPS - 1)], some)
    assert np.array_equal(some, done[70:120])
