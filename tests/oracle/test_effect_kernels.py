"""The short kernels of the effects against plain twins in numpy and scipy."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import lagrange
from scipy.signal import lfilter

from stagefx.kernels.block_extrema import (
    COLUMNS,
    FAR,
    LANES,
    MIDDLE,
    NEAR,
    SLOPE_OVER_STEP,
    outline,
    reach,
)
from stagefx.kernels.filters.fir import SMALLEST_SINGLE, TILE_FRAMES, convolve, convolve_by_size
from stagefx.kernels.filters.first_order import SETTLED, STATE, first_order
from stagefx.kernels.noise import draw_lines

Array = NDArray[np.float64]


@pytest.mark.parametrize("frames", [0, 1, 5, TILE_FRAMES - 1, TILE_FRAMES, TILE_FRAMES + 3])
@pytest.mark.parametrize("length", [8, 24])
def test_a_convolution_is_that_of_its_twin(frames: int, length: int) -> None:
    rng = np.random.default_rng(length + frames)
    x, taps = rng.standard_normal(frames + length - 1), rng.standard_normal(length)
    y = np.full(frames, np.nan)
    assert convolve(x, taps, y) == frames
    expected = np.convolve(x, taps)[length - 1 : length - 1 + frames]
    assert y == pytest.approx(expected, rel=0.0, abs=1e-13)


def test_a_convolution_sums_in_the_order_of_its_taps() -> None:
    rng = np.random.default_rng(0)
    x, taps, y = rng.standard_normal(40), rng.standard_normal(8), np.empty(33)
    convolve(x, taps, y)
    for n in range(33):
        total = 0.0
        for k in range(8):
            total += taps[k] * x[n + 7 - k]
        assert y[n] == total


def by_size(x: Array, taps: Array, first: int, last: int) -> Array:
    """A convolution whose taps from first to last are large."""
    y = np.full(x.size - taps.size + 1, np.nan)
    single, work = np.empty((2, max(x.size, TILE_FRAMES)), np.float32)
    small = taps.astype(np.float32)
    args = small, single[: x.size], work[:TILE_FRAMES], y
    assert convolve_by_size(x, taps[first:last], first, *args) == y.size
    return y


@pytest.mark.parametrize("frames", [0, 1, TILE_FRAMES, TILE_FRAMES + 3])
@pytest.mark.parametrize(("first", "last"), [(0, 8), (8, 16), (8, 24), (16, 24)])
def test_a_convolution_by_size_errs_by_what_single_precision_makes_of_small_taps(
    frames: int, first: int, last: int
) -> None:
    rng = np.random.default_rng(frames + first)
    x, taps = rng.standard_normal(frames + 23), 1e-3 * rng.standard_normal(24)
    taps[first:last] *= 1e3
    expected = np.convolve(x, taps)[23 : 23 + frames]
    assert by_size(x, taps, first, last) == pytest.approx(expected, rel=0.0, abs=1e-8)
    taps[:first] = taps[last:] = 0.0
    exact = np.convolve(x, taps)[23 : 23 + frames]
    assert by_size(x, taps, first, last) == pytest.approx(exact, rel=0.0, abs=1e-13)


def test_a_convolution_by_size_gives_the_same_bits_in_blocks_of_any_size() -> None:
    rng = np.random.default_rng(4)
    x, taps = rng.standard_normal(3000), rng.standard_normal(24)
    whole = by_size(x, taps, 8, 16)
    edges = [0, 1, 900, 2000, whole.size]
    parts = [by_size(x[first : last + 23], taps, 8, 16) for first, last in pairwise(edges)]
    assert np.array_equal(whole, np.concatenate(parts))


def test_in_single_precision_next_to_nothing_is_nothing() -> None:
    """Or it would be denormal there, and a hundred times slower."""
    x, taps = np.full(40, 0.9 * SMALLEST_SINGLE), np.full(24, 1e-3)
    taps[8:16] = 0.0
    assert not by_size(x, taps, 8, 16).any()
    assert by_size(2.0 * x, taps, 8, 16).all()


@pytest.mark.parametrize(
    "coefficients", [(1.0, 1.0, 0.9999), (0.7, 0.3, -0.5), (0.99, 0.0, 0.5), (1.0, 1.0, 1.0)]
)
def test_a_first_order_section_is_that_of_its_twin(coefficients: tuple[float, ...]) -> None:
    b0, zero, pole = coefficients
    x = np.random.default_rng(1).standard_normal(700)
    expected = lfilter([b0, -b0 * zero], [1.0, -pole], x)
    y, state = np.empty(700), np.zeros(STATE)
    for first, last in [(0, 1), (1, 4), (4, 7), (7, 7), (7, 300), (300, 700)]:
        assert first_order(x[first:last], np.array(coefficients), state, y[first:last]) == (
            last - first
        )
    assert y == pytest.approx(expected, rel=0.0, abs=1e-12)
    assert state.tolist() == [*x[-4:], *y[-4:]]


def test_a_first_order_section_gives_the_same_bits_in_blocks_of_any_size() -> None:
    x = np.random.default_rng(2).standard_normal(1500)
    coefficients, whole, parts = np.array([0.9, 1.0, 0.998]), np.empty(1500), np.empty(1500)
    first_order(x, coefficients, np.zeros(STATE), whole)
    state = np.zeros(STATE)
    edges = [0, 2, 3, 8, 75, 1100, 1103, 1500]
    for first, last in pairwise(edges):
        first_order(x[first:last], coefficients, state, parts[first:last])
    assert np.array_equal(whole, parts)


def test_a_dying_state_ends_at_zero_and_never_in_denormals() -> None:
    x, y = np.zeros(200), np.empty(200)
    x[0] = 1.0
    first_order(x, np.array([1.0, 0.0, 0.1]), np.zeros(STATE), y)
    assert y[-1] == 0.0
    assert np.abs(y[y != 0.0]).min() >= SETTLED


def test_the_weights_of_the_slope_are_those_of_lagrange() -> None:
    nodes = [-2.5, -1.5, -0.5, 0.5, 1.5, 2.5]
    slopes = [lagrange(nodes, np.eye(6)[k]).deriv()(0.0) for k in range(6)]
    assert pytest.approx(slopes, rel=1e-12) == [-FAR, -MIDDLE, -NEAR, NEAR, MIDDLE, FAR]


def outlined(x: Array, found: Array, block_frames: int = 64) -> Array:
    """What the kernel tells of the blocks of a channel, the five samples in front being silent."""
    rows = np.full((x.size // block_frames, COLUMNS), np.nan)
    frames = outline(
        np.concatenate((np.zeros(5), x)), block_frames, found, np.empty((3, LANES)), rows
    )
    assert frames == x.size
    return rows


def six_point_slopes(x: Array) -> Array:
    return np.convolve(x, [FAR, MIDDLE, NEAR, -NEAR, -MIDDLE, -FAR])[: x.size]


def test_extremes_and_outline_are_those_of_their_twin() -> None:
    x = np.cumsum(np.random.default_rng(3).standard_normal(6 * 256))
    found = np.zeros(4)
    rows = outlined(x, found, 256)
    slope = six_point_slopes(x)
    assert found == pytest.approx([x.max(), x.min(), slope.max(), slope.min()], rel=1e-12)
    sizes = np.abs(x).reshape(-1, 256)
    steps = np.abs(np.diff(x, prepend=0.0)).reshape(-1, 256)
    parts = (slice(None), slice(64), slice(-64, None))
    expected = [kind[:, part].max(axis=1) for kind in (sizes, steps) for part in parts]
    assert np.array_equal(rows, np.stack(expected, axis=1))


def test_extremes_do_not_depend_on_where_the_steepest_stands() -> None:
    """Blocks without a step for it are passed over, and none that has one is."""
    rng = np.random.default_rng(7)
    for place in range(59, 70):  # about the border of two blocks
        x = 0.01 * rng.standard_normal(192)
        x[place:] += 1.0
        found = np.zeros(4)
        outlined(x, found)
        assert found[2] == pytest.approx(six_point_slopes(x).max(), rel=1e-12)


def test_a_slope_cannot_be_steeper_than_is_said_of_steps() -> None:
    weights = np.abs(np.cumsum([FAR, MIDDLE, NEAR, -NEAR, -MIDDLE, -FAR]))[:5]
    assert weights.sum() <= SLOPE_OVER_STEP


@pytest.mark.parametrize("samples", [1, 2, LANES, LANES + 1, 3 * LANES + 7])
def test_how_far_a_stretch_reaches_is_that_of_its_twin(samples: int) -> None:
    rng = np.random.default_rng(samples)
    for x in (rng.standard_normal(samples), -np.arange(float(samples)), np.full(samples, 0.25)):
        found = np.full(2, np.nan)
        assert reach(x, np.empty((3, LANES)), found) == samples
        assert found.tolist() == [np.abs(x).max(), np.abs(np.diff(x)).max(initial=0.0)]


def test_extremes_are_only_ever_raised() -> None:
    found = np.array([2.0, -2.0, 9.0, -9.0])
    outlined(np.random.default_rng(4).uniform(-1.0, 1.0, 128), found)
    assert found.tolist() == [2.0, -2.0, 9.0, -9.0]


def test_the_slope_of_a_polynomial_of_degree_five_is_exact() -> None:
    def value(t: Fraction) -> Fraction:
        return 3 + t * (2 - t * (1 + t * (Fraction(1, 2) - t * (Fraction(1, 5) - t))))

    x = np.zeros(64 + 5)
    x[-6:] = [float(value(Fraction(k) - Fraction(5, 2))) for k in range(6)]
    found = np.zeros(4)
    outline(x, 64, found, np.empty((3, LANES)), np.empty((1, COLUMNS)))
    assert six_point_slopes(x)[-1] == pytest.approx(2.0, rel=1e-13)
    assert found[2] == pytest.approx(six_point_slopes(x[5:]).max(), rel=1e-13)


@pytest.mark.parametrize(
    ("share", "error"), [(0.05, 0.01), (0.15, 0.01), (0.25, 0.01), (1.0 / 3.0, 0.04)]
)
def test_the_slope_of_a_sine_errs_by_no_more_than_is_said(share: float, error: float) -> None:
    x = np.sin(2.0 * np.pi * share * np.arange(5 + 832) + 0.3)
    found = np.zeros(4)
    outline(x, 64, found, np.empty((3, LANES)), np.empty((13, COLUMNS)))
    steepest = np.cos(2.0 * np.pi * share * (np.arange(5, x.size) - 2.5) + 0.3).max()
    assert found[2] == pytest.approx(2.0 * np.pi * share * steepest, rel=error)


def test_the_lines_of_noise_are_those_of_their_twin() -> None:
    rng = np.random.default_rng(5)
    draws, amplitude = rng.integers(0, 256, 400, dtype=np.uint8), rng.uniform(0.0, 2.0, 100)
    spectrum = np.full(200, np.nan)
    assert draw_lines(draws, amplitude, spectrum) == 100
    whole = draws.astype(int).reshape(100, 4)
    expected = np.stack([whole[:, 0] - whole[:, 1], whole[:, 2] - whole[:, 3]], axis=1)
    assert np.array_equal(spectrum, (expected * amplitude[:, None]).ravel())
