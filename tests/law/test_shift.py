"""Audio read between its frames."""

from __future__ import annotations

import numpy as np
import pytest

from stagefx.dsp.fractional_delay import REACH_FRAMES, interpolation, read_later
from stagefx.io.recording import ForwardWindow, HeldAudio

OFFSETS = np.arange(-REACH_FRAMES, REACH_FRAMES + 1)


@pytest.mark.parametrize("fraction", [0.5, -0.5, 0.25, -0.37, 1e-3])
def test_every_frequency_in_band_is_moved_exactly(fraction: float) -> None:
    """Within -140 dB of the ideal delay's response, from 0 Hz to 0.45 of the rate."""
    hz = np.linspace(0.0, 0.45, 400)
    response = np.exp(2j * np.pi * np.outer(hz, OFFSETS)) @ interpolation(fraction)
    error = np.abs(response - np.exp(2j * np.pi * hz * fraction))
    assert 20.0 * np.log10(error.max()) < -140.0


def test_a_tone_is_moved_as_its_formula_says() -> None:
    frames = np.arange(4000.0)
    moved = read_later(np.sin(0.3 * frames)[:, None], 0.375)[:, 0]
    exact = np.sin(0.3 * (frames[REACH_FRAMES:-REACH_FRAMES] + 0.375))
    assert np.abs(moved - exact).max() < 1e-7


def test_no_fraction_changes_no_bit() -> None:
    noise = np.random.default_rng(1).standard_normal((1000, 2))
    same = read_later(noise, 0.0)
    assert np.array_equal(same, noise[REACH_FRAMES:-REACH_FRAMES])


@pytest.mark.parametrize("frames", [257, 300, 5000, 65536 + 2 * REACH_FRAMES])
def test_any_length_comes_back(frames: int) -> None:
    noise = np.random.default_rng(1).standard_normal((frames, 1))
    whole = read_later(noise, 0.2)
    assert whole.shape == (frames - 2 * REACH_FRAMES, 1)
    direct = noise[: 2 * REACH_FRAMES + 1, 0] @ interpolation(0.2)
    assert whole[0, 0] == pytest.approx(direct, abs=1e-12)


def test_a_forward_window_gives_what_is_there_and_silence_around_it() -> None:
    sound = np.arange(1.0, 101.0)[:, None]
    around = np.concatenate([np.zeros(50), sound[:, 0], np.zeros(50)])
    window = ForwardWindow(HeldAudio(sound, 48000))
    for start, stop in [(-40, -30), (-20, 5), (-3, 40), (10, 11), (60, 60), (70, 130), (120, 140)]:
        expected = around[start + 50 : stop + 50]
        assert np.array_equal(window.stretch(start, stop)[:, 0], expected), (start, stop)
