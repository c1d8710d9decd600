"""What no linear filter explains: noise and distortion, and nothing that a filter does."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.difference.decomposition import Difference, take_apart
from stagefx.io.recording import HeldAudio
from tests.band_limited import RATE_HZ, sound

Array = NDArray[np.float64]
MUSIC = sound(8.0)


def compared(second: Array) -> Difference:
    return take_apart(HeldAudio(MUSIC, RATE_HZ), HeldAudio(second, RATE_HZ))


def pole(hz: float) -> Callable[[Array], Array]:
    return lambda f: 1.0 / (1.0 + 1j * f / hz)


def corner(hz: float) -> Callable[[Array], Array]:
    return lambda f: 1j * f / hz / (1.0 + 1j * f / hz)


@pytest.mark.parametrize(
    "change", [pole(57_255.5), pole(10e3), corner(0.5), corner(1.6), corner(20.0), corner(100.0)]
)
def test_a_pole_or_a_coupling_capacitor_leaves_nothing(change: Callable[[Array], Array]) -> None:
    found = compared(sound(8.0, change))
    assert found.remainder_db is not None
    assert found.remainder_db < -85.0


@pytest.mark.parametrize("level_db", [-20.0, -60.0, -100.0])
@pytest.mark.parametrize("gain", [1.0, -3.0])
def test_noise_is_found_at_its_own_level(level_db: float, gain: float) -> None:
    """White to half the rate; what lies from 20 Hz to 20 kHz counts."""
    noise = np.random.default_rng(2).standard_normal(MUSIC.shape) * np.sqrt(np.mean(MUSIC**2))
    found = compared(gain * (MUSIC + 10.0 ** (level_db / 20.0) * noise))
    in_band_db = 10.0 * np.log10(20e3 / (RATE_HZ / 2))
    assert found.remainder_db == pytest.approx(level_db + in_band_db, abs=0.1)


def test_clipping_grows_it() -> None:
    found = [compared(np.clip(MUSIC, -peak, peak)).remainder_db for peak in (0.5, 0.3, 0.2, 0.1)]
    assert found == sorted(found, key=lambda level: level or 0.0)
    assert len(set(found)) == len(found)


def test_a_tenth_of_a_second_is_enough_but_not_for_the_low_end() -> None:
    short = HeldAudio(MUSIC[:4800], RATE_HZ)
    found = take_apart(short, short)
    assert found.remainder_db == -np.inf
    assert found.loudness.difference_db is None
    assert found.response.worst(20.0, 80.0) is None
    assert found.response.worst(1000.0, 16_000.0) is not None
