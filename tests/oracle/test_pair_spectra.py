"""Averaged spectra against scipy's, and what is left over against least squares line by line."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import coherence, csd, welch

from stagefx.difference.linear.unexplained_power import RemainderMeter
from stagefx.dsp.spectra import PairMeter

RATE_HZ, SEGMENT = 48000, 1024
RANDOM = np.random.default_rng(1)
FIRST = RANDOM.standard_normal((20_000, 2))
SECOND = np.roll(FIRST, 3, axis=0) * 0.7 + 0.3 * RANDOM.standard_normal(FIRST.shape)
OPTIONS = {
    "fs": RATE_HZ, "window": "hann", "nperseg": SEGMENT, "detrend": False, "axis": 0,
}  # fmt: skip


def passed_through(meter: PairMeter, *, block: int) -> PairMeter:
    for start in range(0, len(FIRST), block):
        meter.add(FIRST[start : start + block], SECOND[start : start + block])
    return meter


def test_transfer_and_coherence_are_scipys() -> None:
    spectra = passed_through(PairMeter(RATE_HZ, 2, SEGMENT), block=777).spectra()
    hz, power = welch(FIRST, **OPTIONS)
    _, across = csd(FIRST, SECOND, **OPTIONS)
    _, shared = coherence(FIRST, SECOND, **OPTIONS)
    assert spectra.segments == (len(FIRST) - SEGMENT) // (SEGMENT // 2) + 1
    np.testing.assert_allclose(spectra.hz, hz)
    np.testing.assert_allclose(spectra.transfer.T, across / power, rtol=1e-10, atol=1e-12)
    np.testing.assert_allclose(spectra.coherence.T, shared, rtol=1e-10, atol=1e-12)


def test_blocks_make_no_difference() -> None:
    one = passed_through(PairMeter(RATE_HZ, 2, SEGMENT), block=len(FIRST)).spectra()
    other = passed_through(PairMeter(RATE_HZ, 2, SEGMENT), block=100).spectra()
    assert np.array_equal(one.cross, other.cross)
    assert np.array_equal(one.second, other.second)


def test_white_noise_comes_to_what_is_said_of_it() -> None:
    noise = RANDOM.standard_normal((400_000, 1))
    meter = PairMeter(RATE_HZ, 1, SEGMENT)
    meter.add(noise, noise)
    spectra = meter.spectra()
    mean = spectra.first[0, 1:-1].mean()
    assert mean == pytest.approx(spectra.noise_power(1.0), rel=0.01)


def test_what_is_left_over_is_that_of_a_least_squares_fit() -> None:
    """Every line: the second's segments fitted by two spectra of the first, window and slope."""
    left = passed_through(RemainderMeter(RATE_HZ, 2, SEGMENT), block=5000)
    assert isinstance(left, RemainderMeter)
    angle = 2.0 * np.pi * np.arange(SEGMENT) / SEGMENT
    starts = range(0, len(FIRST) - SEGMENT + 1, SEGMENT // 2)
    for channel in range(2):
        x, y = (each[:, channel] for each in (FIRST, SECOND))
        cut = [(x[n : n + SEGMENT], y[n : n + SEGMENT]) for n in starts]
        window, slope = 0.5 - 0.5 * np.cos(angle), np.sin(angle)
        windowed, sloped, target = (
            np.array([np.fft.rfft(pair[which] * shape) for pair in cut])
            for which, shape in ((0, window), (0, slope), (1, window))
        )
        for line in (1, 10, 100, 500):
            regressors = np.stack([windowed[:, line], sloped[:, line]], axis=1)
            _, residual, *_ = np.linalg.lstsq(regressors, target[:, line], rcond=None)
            expected = residual[0] / (1.0 - 2.0 / len(cut))
            assert left.left_over()[channel, line] == pytest.approx(expected, rel=1e-9)
