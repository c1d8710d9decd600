"""The short filter between two versions follows their spectra only as far as they agree."""

from __future__ import annotations

import numpy as np

from stagefx.difference.linear.short_filter import REACH_FRAMES, short_filter
from stagefx.difference.linear.unexplained_power import RemainderMeter

RATE_HZ = 48000
RANDOM = np.random.default_rng(1)


def found(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    meter = RemainderMeter(RATE_HZ, first.shape[1], 16384)
    meter.add(first, second - first)
    return short_filter(meter.spectra())


def test_a_short_filter_is_found() -> None:
    """Also where a channel is silent: there the gain is left alone."""
    music = 0.1 * RANDOM.standard_normal((5 * RATE_HZ, 2))
    music[:, 1] = 0.0
    second = music.copy()
    second[6:] += 0.4 * music[:-6]
    second[:-3] -= 0.2 * music[3:]
    taps = found(music, second)
    expected = np.zeros(2 * REACH_FRAMES + 1)
    expected[REACH_FRAMES + np.array([0, 6, -3])] = 1.0, 0.4, -0.2
    assert np.abs(taps[0] - expected).max() < 0.01
    assert taps[1, REACH_FRAMES] == 1.0


def test_a_click_sets_no_gain_where_there_is_no_music() -> None:
    """Music up to 4 kHz at -80 dB beyond: the response stays 1 there, within half a decibel."""
    spectrum = np.fft.rfft(RANDOM.standard_normal(5 * RATE_HZ))
    hz = np.fft.rfftfreq(5 * RATE_HZ, 1.0 / RATE_HZ)
    music = 0.1 * np.fft.irfft(spectrum * np.where(hz < 4000.0, 1.0, 1e-4))[:, None]
    second = music.copy()
    second[[50_000, 120_000]] += 0.8
    taps = found(music, second)[0]
    response = np.abs(np.fft.rfft(taps, 4096))
    assert np.abs(20.0 * np.log10(response)).max() < 0.5
