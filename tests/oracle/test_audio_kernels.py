"""Each kernel of the audio floor against a plain twin in numpy and scipy."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import lfilter

from stagefx.dsp.true_peak import PAIRS, interpolation_gains
from stagefx.dsp.weighting import a_weighting, k_weighting
from stagefx.kernels.dither import round_to_steps
from stagefx.kernels.filters.loudness import weighted_energy
from stagefx.kernels.filters.treble import filter_treble
from stagefx.kernels.true_peak import raise_peak


def test_rounding_is_that_of_its_twin() -> None:
    rng = np.random.default_rng(0)
    samples = rng.uniform(-1.2, 1.2, 1000)
    samples[:4] = [1.0, -1.0, 1e300, -1e300]
    halves = rng.integers(0, 65536, 2000, dtype=np.uint16)
    codes = np.empty(1000, dtype=np.int32)
    overs = round_to_steps(samples, halves, 2.0**15, codes)
    dither = (halves[0::2].astype(float) - halves[1::2].astype(float)) / 65536.0
    expected = np.clip(np.floor(samples * 2.0**15 + dither + 0.5), -(2.0**15), 2.0**15 - 1.0)
    assert np.array_equal(codes, expected)
    assert overs == np.count_nonzero(np.abs(samples) > 1.0)


def test_rounding_without_dither_is_to_the_nearest() -> None:
    samples = np.array([0.0, 0.4, 0.5, -0.4, -0.6, 99.7]) / 128.0
    codes = np.empty(6, dtype=np.int32)
    assert round_to_steps(samples, np.empty(0, dtype=np.uint16), 128.0, codes) == 0
    assert codes.tolist() == [0, 0, 1, 0, -1, 100]


@pytest.mark.parametrize(("rate_hz", "per_second"), [(44100, 100), (11025, 100), (8000, 7)])
def test_weighted_energy_is_that_of_its_twin(rate_hz: int, per_second: int) -> None:
    block = np.random.default_rng(1).standard_normal((3000, 3))
    sections = np.array(k_weighting(rate_hz))
    energy = np.empty((3, 3000 * per_second // rate_hz + 1))
    state = np.zeros((3, 5))
    steps = weighted_energy(block, 0, rate_hz, per_second, sections, state, energy)
    weighted = block
    for b0, b1, b2, a1, a2 in sections:
        weighted = lfilter([b0, b1, b2], [1.0, a1, a2], weighted, axis=0)
    edges = np.arange(steps + 1) * rate_hz // per_second
    assert steps == 3000 * per_second // rate_hz
    expected = [np.square(weighted[a:b]).sum(axis=0) for a, b in pairwise(edges)]
    completed = energy[:, :steps].T
    assert completed == pytest.approx(np.array(expected), rel=1e-9)
    assert state[:, 4] == pytest.approx(np.square(weighted[edges[-1] :]).sum(axis=0), rel=1e-9)


@pytest.mark.parametrize("channels", [1, 2, 3])
def test_the_treble_of_the_a_weighting_is_that_of_its_twin(channels: int) -> None:
    block = np.random.default_rng(2).standard_normal((500, channels))
    treble, _ = a_weighting(44100)
    state, filtered = np.zeros((channels, 3)), np.empty_like(block)
    for part in (slice(0, 123), slice(123, 500)):
        assert filter_treble(block[part], np.array(treble), state, filtered[part]) == len(
            block[part]
        )
    expected = lfilter(treble[:4], [1.0, *treble[4:]], block, axis=0)
    assert filtered == pytest.approx(expected, rel=1e-12, abs=1e-15)


def interpolated(samples: NDArray[np.float64], instant: float) -> NDArray[np.float64]:
    """What a Kaiser-windowed sinc of 48 samples gives between samples, sum by sum."""
    away = np.arange(-PAIRS + 1, PAIRS + 1) - instant
    gains = np.sinc(away) * np.i0(7.0 * np.sqrt(1.0 - (away / PAIRS) ** 2))
    windows = np.lib.stride_tricks.sliding_window_view(samples, 2 * PAIRS)
    return windows @ (gains / gains.sum())


@pytest.mark.parametrize("quarters", [0, 1])
def test_the_peak_between_samples_is_that_of_its_twin(quarters: int) -> None:
    samples = np.random.default_rng(2).standard_normal(1000)
    gains, largest = interpolation_gains()
    peak = np.zeros(1)
    looked_at = raise_peak(samples, gains, largest, quarters, np.empty((3, 128)), peak)
    instants = [0.25, 0.5, 0.75] if quarters else [0.5]
    expected = max(np.abs(interpolated(samples, instant)).max() for instant in instants)
    assert peak[0] == pytest.approx(expected, rel=1e-12)
    assert looked_at == -(-(1000 - 2 * PAIRS + 1) // 128)


def test_a_stretch_that_cannot_raise_the_peak_is_passed_over() -> None:
    samples = np.random.default_rng(3).uniform(-0.3, 0.3, 2000)
    gains, largest = interpolation_gains()
    peak = np.ones(1)
    assert raise_peak(samples, gains, largest, 1, np.empty((3, 128)), peak) == 0
    samples[1000] = 0.9
    assert 1 <= raise_peak(samples, gains, largest, 1, np.empty((3, 128)), peak) <= 2
