"""The response between two versions against its exact law and against scipy's estimate."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import csd, welch

from stagefx.difference.decomposition import take_apart
from stagefx.io.recording import HeldAudio
from tests.band_limited import RATE_HZ, sound

CORNER_HZ = 17e3


def _law(hz: np.ndarray) -> np.ndarray:
    return 1.0 / (1.0 + 1j * hz / CORNER_HZ)


def test_a_known_low_pass_is_found_within_a_fiftieth_of_a_decibel() -> None:
    found = take_apart(
        HeldAudio(sound(12.0), RATE_HZ), HeldAudio(sound(12.0, _law), RATE_HZ)
    ).response
    measured = [(band.hz, band.db) for band in found.bands if band.db is not None]
    assert len(measured) > 25
    reference = abs(_law(np.array([1e3])))[0]
    for hz, db in measured:
        if hz > 17e3:  # half of the highest band holds no music
            continue
        edges = np.linspace(hz * 10**-0.05, min(hz * 10**0.05, 20e3), 200)
        exact = 10 * np.log10(np.mean(np.abs(_law(edges) / reference) ** 2 / edges))
        exact -= 10 * np.log10(np.mean(1.0 / edges))
        assert db == pytest.approx(exact, abs=0.02)


def test_it_agrees_with_scipys_cross_spectra() -> None:
    first, second = sound(12.0), sound(12.0, _law)
    found = take_apart(HeldAudio(first, RATE_HZ), HeldAudio(second, RATE_HZ)).response
    hz, across = csd(first, second, RATE_HZ, nperseg=16384, axis=0)
    _, power = welch(first, RATE_HZ, nperseg=16384, axis=0)
    transfer = np.abs(across.sum(axis=1) / np.maximum(power.sum(axis=1), 1e-30))
    at_1k = transfer[np.argmin(np.abs(hz - 1e3))]
    for band in found.bands:
        if band.db is None or not 200.0 < band.hz < 16.5e3:
            continue
        near = 20.0 * np.log10(transfer[np.argmin(np.abs(hz - band.hz))] / at_1k)
        assert band.db == pytest.approx(near, abs=0.15)  # one bin against a third octave
