"""A resonance is found by its frequency, Q and height, and its limit follows the published rule.

F. E. Toole, S. E. Olive, "The modification of timbre by resonances", JAES 36 (3), 1988: what a
resonance adds to the sound at its threshold rises by 3 dB for twice the Q.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from stagefx.hearing.rows.resonance import Resonance, find_resonance

HZ = np.geomspace(20.0, 20e3, 400)


def second_order(hz: np.ndarray, at_hz: float, quality: float, height_db: float) -> np.ndarray:
    """1 + a times a band-pass of second order, by scipy's own analogue filters."""
    w0 = 2.0 * np.pi * at_hz
    band_pass = [w0 / quality, 0.0], [1.0, w0 / quality, w0**2]
    _, response = signal.freqs(*band_pass, worN=2.0 * np.pi * hz)
    whole = 1.0 + (10.0 ** (abs(height_db) / 20.0) - 1.0) * response
    return whole if height_db > 0.0 else 1.0 / whole


@pytest.mark.parametrize("gain", [1.0, -0.5])
@pytest.mark.parametrize(
    ("at_hz", "quality", "height_db"),
    [
        (1000.0, 1.0, 4.0), (1000.0, 30.0, 1.0), (300.0, 2.0, -3.0), (5000.0, 8.0, 2.0),
        (120.0, 4.0, 6.0), (2500.0, 0.8, 1.0),
    ],
)  # fmt: skip
def test_a_resonance_is_found_whole(
    at_hz: float, quality: float, height_db: float, gain: float
) -> None:
    found = find_resonance(lambda hz: gain * second_order(hz, at_hz, quality, height_db)[None])
    assert found is not None
    assert found.hz == pytest.approx(at_hz, rel=1e-3)
    assert found.quality == pytest.approx(quality, rel=0.01)
    assert found.height_db == pytest.approx(height_db, abs=0.01)
    np.testing.assert_allclose(
        found.response(HZ), second_order(HZ, at_hz, quality, height_db), rtol=2e-3
    )


def shelf(hz: np.ndarray) -> np.ndarray:
    return (1.0 + 2j * hz / 2000.0) / (1.0 + 1j * hz / 2000.0)


def two_of_them(hz: np.ndarray) -> np.ndarray:
    return second_order(hz, 300.0, 4.0, 3.0) * second_order(hz, 3000.0, 4.0, 3.0)


@pytest.mark.parametrize(
    "response",
    [
        lambda hz: 1.0 / (1.0 + 1j * hz / 3e3),
        lambda hz: 1.0 / (1.0 + 1j * hz / 30e3),
        lambda hz: 1.0 / (1.0 - 1j * 100.0 / hz),
        lambda hz: np.ones(hz.shape, dtype=complex),
        lambda hz: (1.0 - 1j * hz / 1e3) / (1.0 + 1j * hz / 1e3),
        shelf,
        two_of_them,
    ],
    ids=["low-pass", "far low-pass", "high-pass", "flat", "all-pass", "shelf", "two"],
)
def test_what_is_no_single_resonance_is_not_called_one(response) -> None:
    assert find_resonance(lambda hz: response(hz)[None]) is None


def test_a_resonance_of_one_channel_is_found_and_of_two_different_ones_none() -> None:
    def one(hz: np.ndarray) -> np.ndarray:
        return np.stack([second_order(hz, 1000.0, 4.0, 3.0), np.ones(hz.shape, dtype=complex)])

    def apart(hz: np.ndarray) -> np.ndarray:
        return np.stack([second_order(hz, f, 4.0, 3.0) for f in (400.0, 3000.0)])

    found = find_resonance(one)
    assert found is not None
    assert found.hz == pytest.approx(1000.0, rel=0.01)
    assert find_resonance(apart) is None


def test_what_is_added_at_the_limit_rises_by_three_decibels_for_twice_the_q() -> None:
    limits = [Resonance(1000.0, quality, 1.0).limit for quality in (1.0, 2.0, 4.0, 8.0, 16.0, 32.0)]
    for which in ("may", "will"):
        added = [10.0 ** (getattr(limit, which) / 20.0) - 1.0 for limit in limits]
        rise_db = 20.0 * np.log10(np.array(added[1:]) / added[:-1])
        np.testing.assert_allclose(rise_db, 3.0103, atol=1e-3)
