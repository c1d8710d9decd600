"""The sample music is what its script makes, and rich enough to test with."""

from __future__ import annotations

import importlib
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr
from numpy.typing import NDArray

SAMPLES = Path(__file__).parents[2] / "samples"
PIECES = ("trio", "drums", "voice")
RATE_HZ = 44_100


@pytest.fixture(params=PIECES)
def piece(request: pytest.FixtureRequest) -> NDArray[np.int16]:
    return _stored(request.param)


def _stored(name: str) -> NDArray[np.int16]:
    samples, rate_hz = soundfile.read(SAMPLES / "music" / f"{name}.flac", dtype="int16")
    assert rate_hz == RATE_HZ
    return np.asarray(samples, dtype=np.int16)


def _silences(samples: NDArray[np.int16]) -> list[tuple[int, int]]:
    """First frame and length of every run in which all channels are exactly zero."""
    silent = np.all(samples == 0, axis=1).astype(np.int8)
    edges = np.flatnonzero(np.diff(silent, prepend=0, append=0))
    return [(int(start), int(end - start)) for start, end in edges.reshape(-1, 2)]


@pytest.mark.slow
def test_the_script_still_makes_the_stored_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.syspath_prepend(str(SAMPLES))
    made = importlib.import_module("make_music").make_all()
    assert set(made) == set(PIECES)
    for name in PIECES:
        stored = _stored(name).astype(np.int32)
        assert made[name].shape == stored.shape
        # One step: where dither puts a sample on the edge between two steps, the last bit of a
        # sine decides, and processors may round that apart.
        assert np.abs(made[name] - stored).max() <= 1


def test_every_stored_piece_is_tested() -> None:
    assert {path.stem for path in (SAMPLES / "music").iterdir()} == set(PIECES)


@pytest.mark.parametrize("name", PIECES)
def test_a_piece_is_a_small_16_bit_stereo_flac_of_half_a_minute(name: str) -> None:
    path = SAMPLES / "music" / f"{name}.flac"
    info = soundfile.info(path)
    assert (info.format, info.subtype, info.channels) == ("FLAC", "PCM_16", 2)
    assert 20.0 <= info.duration <= 40.0
    assert path.stat().st_size <= 5_000_000


def test_crest_factor_exceeds_12_db(piece: NDArray[np.int16]) -> None:
    full_scale_1 = piece / 32_768.0
    sounding = full_scale_1[np.any(piece != 0, axis=1)]
    crest_db = 20.0 * np.log10(np.abs(sounding).max() / np.sqrt(np.mean(sounding**2)))
    assert crest_db > 12.0


def test_true_peak_is_1_db_below_full_scale(piece: NDArray[np.int16]) -> None:
    # Another resampler than the script's own FFT, and twice as many points.
    curve = soxr.resample(piece / 32_768.0, RATE_HZ, 8 * RATE_HZ, quality="VHQ")
    assert 20.0 * np.log10(np.abs(curve).max()) == pytest.approx(-1.0, abs=0.1)


def test_treble_reaches_18_khz(piece: NDArray[np.int16]) -> None:
    power = np.sum(np.abs(np.fft.rfft(piece / 32_768.0, axis=0)) ** 2, axis=1)
    hz = np.fft.rfftfreq(len(piece), 1.0 / RATE_HZ)
    share = power[(hz >= 16_000.0) & (hz < 18_000.0)].sum() / power.sum()
    # Dither alone has -85 dB there; the pieces have -33 to -46 dB.
    assert 10.0 * np.log10(share) > -50.0


def test_a_real_silence_lies_inside_and_short_ones_around(piece: NDArray[np.int16]) -> None:
    silences = _silences(piece)
    inside = [length for start, length in silences if start > 0 and start + length < len(piece)]
    assert max(inside) >= 0.5 * RATE_HZ
    first_start, head = silences[0]
    last_start, tail = silences[-1]
    assert first_start == 0
    assert last_start + tail == len(piece)
    assert 0.1 * RATE_HZ < head < RATE_HZ
    assert 0.1 * RATE_HZ < tail < RATE_HZ


def test_sound_rises_from_and_falls_into_silence_without_a_step(
    piece: NDArray[np.int16],
) -> None:
    for start, length in _silences(piece):
        if length < 0.1 * RATE_HZ:
            continue
        before = piece[max(0, start - 5) : start]
        after = piece[start + length : start + length + 5]
        # 5 frames at the edge of a fade: two steps of dither and a trace of sound.
        assert np.abs(before).max(initial=0) <= 4
        assert np.abs(after).max(initial=0) <= 330  # a struck drum, 40 dB below full scale


def test_channels_differ_yet_belong_together(piece: NDArray[np.int16]) -> None:
    left, right = (piece / 32_768.0).T
    side, middle = left - right, left + right
    side_db = 10.0 * np.log10(np.mean(side**2) / np.mean(middle**2))
    assert -20.0 < side_db < -3.0


def test_dither_is_on_wherever_music_is(piece: NDArray[np.int16]) -> None:
    stretches = [length for _, length in _silences(piece) if length < 0.1 * RATE_HZ]
    # With triangular dither a quiet channel is zero 3 times in 4; both at once, 30 frames
    # running, would be a matter of one in thirty million.
    assert max(stretches, default=0) < 30
