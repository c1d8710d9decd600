"""What rounding with triangular dither leaves: closed form, LSB²/4 in power."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.dsp.dither import dither_floor_dbfs, quantise
from stagefx.dsp.levels import rms_dbfs


def music(seed: int, frames: int) -> NDArray[np.float64]:
    rng = np.random.default_rng(seed)
    noise = 0.05 * rng.standard_normal((frames, 2))
    tone = 0.4 * np.sin(2.0 * np.pi * 0.01237 * np.arange(frames))
    return np.clip(noise + tone[:, None], -0.99, 0.99)


def test_16_bits_give_the_signal_to_noise_ratio_of_the_textbook() -> None:
    # 6.0206 * 16 + 1.7609 dB undithered, 4.7712 dB less with triangular dither.
    assert -dither_floor_dbfs(16) == pytest.approx(98.09051 - 4.77121, abs=1e-5)
    assert -dither_floor_dbfs(16) == pytest.approx(93.31930, abs=1e-5)


@pytest.mark.parametrize("bits", [16, 24])
def test_the_residual_has_the_power_of_the_closed_form(bits: int) -> None:
    audio = music(bits, 400_000)
    codes = quantise(audio, bits=bits, first_frame=0).codes
    residual = codes / 2.0 ** (bits - 1) - audio
    # 400,000 draws scatter the power by 0.007 dB (one sigma of a triangle plus a rectangle).
    assert rms_dbfs(residual) == pytest.approx(dither_floor_dbfs(bits), abs=0.03)


def test_the_24_bit_residual_is_at_minus_141_5_dbfs() -> None:
    audio = music(3, 200_000)
    residual = quantise(audio, bits=24, first_frame=0).codes / 2.0**23 - audio
    assert rms_dbfs(residual) == pytest.approx(-141.5, abs=0.5)


def test_rounding_alone_leaves_a_twelfth() -> None:
    audio = music(5, 400_000)
    residual = quantise(audio, bits=16, first_frame=0, dither=False).codes / 2.0**15 - audio
    assert rms_dbfs(residual) == pytest.approx(-98.09, abs=0.03)
