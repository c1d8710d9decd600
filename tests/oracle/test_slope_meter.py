"""The steepest slope between samples, against Fourier's derivative and Bernstein's bound."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.survey.slope import SlopeMeter
from tests.played import band_limited

Audio = NDArray[np.float64]
FINE = 32
"""Instants a frame at which Fourier's derivative is looked at."""
RIPPLE = 6e-4
"""What the windowed filter may err by up to 0.45 of the rate: 0.04 % at one frequency, and a noise
has many."""


def fourier_slopes(period: Audio) -> tuple[float, float]:
    """Steepest rise and fall per frame of a periodic waveform: its series differentiated."""
    lines = np.fft.rfft(period)
    lines *= 2j * np.pi * np.arange(lines.size) / period.size
    fine = np.fft.irfft(lines, FINE * period.size) * FINE
    return float(fine.max()), float(fine.min())


def metered(audio: Audio, *sizes: int) -> Audio:
    """Slopes of a piece that is handed over in blocks of some sizes, the rest in one."""
    meter = SlopeMeter(audio.shape[1])
    for end in np.split(audio, np.cumsum(sizes)):
        meter.add(end)
    return meter.slopes


def in_the_middle(period: Audio) -> Audio:
    """Three periods whose outer two fade, so that neither end is steeper than the middle."""
    fade = np.hanning(2 * len(period))[:, None]
    inside = np.concatenate((fade[: len(period)], np.ones_like(period[:, :1]), fade[len(period) :]))
    return np.ascontiguousarray(np.tile(period, (3, 1)) * inside)


@pytest.mark.parametrize("hz", [20.0, 997.0, 5000.0, 11025.0, 14700.0, 18000.0, 20000.0])
def test_a_sine_is_as_steep_as_two_pi_f_v(hz: float) -> None:
    """At any phase, where it locks to the samples too (a quarter and a third of the rate)."""
    frame = np.arange(8000)
    fade = np.minimum(1.0, np.minimum(frame, frame[::-1]) / 3000.0)
    fade = 0.5 - 0.5 * np.cos(np.pi * fade)
    for phase in (0.0, 0.4, 1.1, 2.0):
        tone = 0.7 * np.sin(2.0 * np.pi * hz * frame / 44100.0 + phase) * fade
        expected = 0.7 * 2.0 * np.pi * hz / 44100.0
        if hz < 100.0:  # the fade is not slow beside it: what is steepest is Fourier's to say
            lines = np.fft.rfft(tone)
            lines *= 2j * np.pi * np.arange(lines.size) / tone.size
            slopes = np.fft.irfft(lines, tone.size)
            assert metered(tone[:, None])[0] == pytest.approx(
                [slopes.max(), slopes.min()], rel=1e-3
            )
        else:
            assert metered(tone[:, None])[0] == pytest.approx([expected, -expected], rel=1e-3)


@pytest.mark.parametrize("upper", [0.05, 0.2, 0.45])
def test_noise_is_as_steep_as_its_fourier_series(upper: float) -> None:
    for seed in range(4):
        noise = band_limited(2048, 1, seed=seed, upper=upper)
        rise, fall = fourier_slopes(noise[:, 0])
        found = metered(in_the_middle(noise))[0]
        # the crest between instants is taken as a sine's, which noise is not quite
        assert found == pytest.approx([rise, fall], rel=3e-3)


def test_no_waveform_is_steeper_than_bernstein_allows() -> None:
    """S. Bernstein, 1912: of a waveform without frequencies above B, slope <= 2 pi B peak."""
    for seed, upper in ((0, 0.1), (1, 0.3), (2, 0.45)):
        noise = band_limited(2048, 1, seed=seed, upper=upper)
        fine = np.fft.irfft(np.fft.rfft(noise[:, 0]), FINE * len(noise)) * FINE
        most = 2.0 * np.pi * upper * np.abs(fine).max() / np.cos(np.pi * upper / FINE)
        assert np.abs(metered(in_the_middle(noise))).max() <= most * (1.0 + RIPPLE)
