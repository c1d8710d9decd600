"""The response that music itself shows, against the response it was played through."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.difference.decomposition import take_apart
from stagefx.io.files import open_audio
from stagefx.io.recording import HeldAudio

Array = NDArray[np.float64]
LEAD = 1 << 16


def music(piece: str) -> tuple[Array, int]:
    place = Path(__file__).parents[2] / "samples" / "music" / f"{piece}.flac"
    with open_audio(place) as opened:
        return opened.read(0, 15 * opened.format.rate_hz), opened.format.rate_hz


def low_pass(hz: Array, corner_hz: float) -> Array:
    return np.asarray(1.0 / (1.0 + 1j * hz / corner_hz))


@pytest.mark.parametrize("piece", ["drums", "trio", "voice"])
@pytest.mark.parametrize("corner_hz", [57_255.5, 20_000.0])
def test_a_first_order_low_pass_is_found_within_a_fiftieth_of_a_decibel(
    piece: str, corner_hz: float
) -> None:
    played, rate_hz = music(piece)
    padded = np.pad(played, ((LEAD, LEAD), (0, 0)))
    hz = np.fft.rfftfreq(len(padded), 1.0 / rate_hz)
    spectrum = np.fft.rfft(padded, axis=0) * low_pass(hz, corner_hz)[:, None]
    through = np.fft.irfft(spectrum, len(padded), axis=0)[LEAD:-LEAD]
    found = take_apart(HeldAudio(played, rate_hz), HeldAudio(through, rate_hz))
    bands = [(band.hz, band.db) for band in found.response.bands if band.db is not None]
    assert len(bands) >= 25
    at_1k = abs(low_pass(np.array([1000.0]), corner_hz))[0]
    for middle_hz, db in bands:
        exact = 20.0 * np.log10(abs(low_pass(np.array([middle_hz]), corner_hz))[0] / at_1k)
        assert db == pytest.approx(exact, abs=0.02), middle_hz


def test_where_there_is_no_music_nothing_is_measured() -> None:
    rate_hz = 48000
    hiss = np.random.default_rng(1).standard_normal((10 * rate_hz, 1)) * 1e-7
    spectrum = np.fft.rfft(np.random.default_rng(2).standard_normal((10 * rate_hz, 1)), axis=0)
    hz = np.fft.rfftfreq(10 * rate_hz, 1.0 / rate_hz)
    spectrum[(hz < 200.0) | (hz > 4000.0)] = 0.0
    middle = 0.1 * np.fft.irfft(spectrum, axis=0)
    found = take_apart(HeldAudio(middle, rate_hz), HeldAudio(middle + hiss, rate_hz)).response
    measured = [band.hz for band in found.bands if band.db is not None]
    assert 170.0 < min(measured) < 300.0
    assert 3000.0 < max(measured) < 5100.0
    assert found.worst(20.0, 80.0) is None
    middle_range = found.worst(100.0, 8000.0)
    assert middle_range is not None
    assert {round(hz) for hz in middle_range.missing_hz} >= {100, 126, 6310, 7943}


def test_a_fault_of_one_channel_is_not_hidden_by_the_other() -> None:
    rate_hz = 48000
    noise = 0.1 * np.random.default_rng(3).standard_normal((5 * rate_hz, 2))
    hz = np.fft.rfftfreq(len(noise), 1.0 / rate_hz)
    dull = np.fft.irfft(np.fft.rfft(noise[:, 1]) * low_pass(hz, 20e3), len(noise))
    second = np.stack([noise[:, 0], dull], axis=1)
    found = take_apart(HeldAudio(noise, rate_hz), HeldAudio(second, rate_hz)).response
    worst = found.worst(8000.0, 16_000.0)
    assert worst is not None
    exact = 20.0 * np.log10(abs(low_pass(np.array([worst.hz]), 20e3))[0])
    assert worst.db == pytest.approx(exact, abs=0.05)


def test_a_band_in_which_something_else_is_as_loud_is_not_measured() -> None:
    rate_hz = 48000
    random = np.random.default_rng(4)
    noise = 0.1 * random.standard_normal((5 * rate_hz, 1))
    rumble = np.fft.rfft(0.1 * random.standard_normal((5 * rate_hz, 1)), axis=0)
    rumble[np.fft.rfftfreq(5 * rate_hz, 1.0 / rate_hz) > 100.0] = 0.0
    second = noise + np.fft.irfft(rumble, 5 * rate_hz, axis=0)
    found = take_apart(HeldAudio(noise, rate_hz), HeldAudio(second, rate_hz)).response
    assert found.worst(20.0, 80.0) is None
    clear = found.worst(200.0, 16_000.0)
    assert clear is not None
    assert clear.db == pytest.approx(0.0, abs=1e-3)
