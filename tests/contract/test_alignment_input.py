"""Versions that do not match in form are matched and it is said so, or they are refused clearly."""

from __future__ import annotations

import re

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.align.alignment import align
from stagefx.align.resample import RateConverted, at_rate_of
from stagefx.difference.decomposition import take_apart
from stagefx.difference.residual.residual import residual_blocks
from stagefx.errors import ComparisonError
from stagefx.io.recording import HeldAudio
from tests.band_limited import RATE_HZ, sound, tone

Array = NDArray[np.float64]
MUSIC = sound(8.0)


def held(samples: Array, rate_hz: int = RATE_HZ, place: str = "audio") -> HeldAudio:
    return HeldAudio(np.ascontiguousarray(samples), rate_hz, place=place)


def at_another_rate(rate_hz: int, *, late_s: float = 0.0) -> Array:
    """The periodic piece, up to 19 kHz, at another rate and later: exactly, by its spectrum."""
    spectrum = np.fft.rfft(MUSIC, axis=0)
    spectrum[round(19e3 * len(MUSIC) / RATE_HZ) :] = 0.0
    spectrum *= np.exp(-2j * np.pi * np.fft.rfftfreq(len(MUSIC), 1 / RATE_HZ) * late_s)[:, None]
    frames = len(MUSIC) * rate_hz // RATE_HZ
    return np.fft.irfft(spectrum, frames, axis=0) * (frames / len(MUSIC))


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_another_rate_is_converted_and_remarked_on(rate_hz: int) -> None:
    first = held(at_another_rate(RATE_HZ))
    second = held(0.5 * at_another_rate(rate_hz, late_s=0.001), rate_hz, "take.wav")
    found = align(first, second)
    assert found.delay_frames == pytest.approx(48.0, abs=1e-4)
    assert found.gain_db == pytest.approx(-6.0206, abs=1e-3)
    assert found.path is None
    assert any(f"from {rate_hz} Hz to {RATE_HZ} Hz" in remark for remark in found.remarks)
    assert take_apart(first, second, start=9600, stop=360_000).null_db.after_delay < -90.0
    left = np.concatenate(list(residual_blocks(first, second, found, start=9600, stop=360_000)))
    assert np.sqrt(np.mean(left**2) / np.mean(MUSIC**2)) < 10.0 ** (-90.0 / 20.0)


@pytest.mark.parametrize("rate_hz", [8000, 44_100, 192_000])
def test_a_converted_recording_is_the_same_wherever_reading_begins(rate_hz: int) -> None:
    noise = held(np.random.default_rng(1).standard_normal((RATE_HZ, 1)))
    whole = RateConverted(noise, rate_hz).read(0, rate_hz)
    jumping = RateConverted(noise, rate_hz)
    assert jumping.format.frames == rate_hz
    for start, stop in (
        (rate_hz // 2, rate_hz),
        (17, 400),
        (rate_hz // 3, rate_hz // 3 + 1),
        (0, 9),
    ):
        assert jumping.read(start, stop) == pytest.approx(whole[start:stop], abs=1e-12)


def test_a_recording_of_the_same_rate_is_left_alone() -> None:
    one = held(MUSIC)
    assert at_rate_of(one, one) is one


@pytest.mark.parametrize("late", [0, 30_000])
@pytest.mark.parametrize("apart", ["wide", "narrow"])
def test_exchanged_channels_are_put_back(apart: str, late: int) -> None:
    first = MUSIC if apart == "wide" else MUSIC @ np.array([[1.0, 0.8], [0.8, 1.0]])
    second = np.pad(0.5 * first[:, ::-1], ((late, 0), (0, 0)))
    found = align(held(first), held(second))
    assert found.swapped
    assert (found.delay_frames, found.polarity) == (late, 1)
    (*_, last) = residual_blocks(held(first), held(second), found)
    assert np.abs(last).max() < 1e-12


def test_channels_that_are_alike_or_right_are_not_exchanged() -> None:
    noise = 0.01 * np.random.default_rng(2).standard_normal(MUSIC.shape)
    for first in (MUSIC, np.repeat(MUSIC[:, :1], 2, axis=1)):
        assert not align(held(first), held(first + noise)).swapped


@pytest.mark.parametrize("hz", [50.0, 997.0, 10e3])
def test_of_a_steady_tone_it_is_said_what_is_not_known(hz: float) -> None:
    found = align(held(tone(hz, 8.0)), held(tone(hz, 8.0, 0.5)))
    assert found.drift_ppm is None
    (remark,) = found.remarks
    said = re.search(r"moved by about ([\d.]+) ms and turned over", remark)
    assert said is not None
    assert float(said[1]) == pytest.approx(500.0 / hz, rel=0.02)


def test_of_music_nothing_is_remarked() -> None:
    found = align(held(MUSIC), held(0.3 * np.roll(MUSIC, 99, axis=0)))
    assert found.remarks == ()


@pytest.mark.parametrize(
    ("first", "second", "said"),
    [
        (MUSIC, MUSIC[:, :1], "2 channels and .* 1 channel; give two files"),
        (MUSIC, sound(8.0, seed=9), "not the same music"),
        (MUSIC, MUSIC[::-1], "not the same music"),
        (MUSIC, np.zeros_like(MUSIC), "is silent"),
        (MUSIC[:4000], MUSIC[:4000], "too short"),
    ],
)
def test_what_cannot_be_aligned_is_refused_in_one_line(
    first: Array, second: Array, said: str
) -> None:
    with pytest.raises(ComparisonError, match=said) as caught:
        align(held(first), held(second))
    assert "\n" not in str(caught.value)


def test_speech_with_pauses_and_silence_in_front() -> None:
    """Bursts of a tenth of a second to half a second, pauses as long, three seconds of nothing."""
    random = np.random.default_rng(8)
    edges = np.cumsum(random.uniform(0.1, 0.5, 60) * RATE_HZ).astype(int)
    speaking = np.searchsorted(edges, np.arange(len(MUSIC))) % 2 == 0
    speech = MUSIC[:, :1] * speaking[:, None]
    found = align(held(speech), held(-2.0 * np.pad(speech, ((3 * RATE_HZ, 0), (0, 0)))))
    assert (found.delay_frames, found.polarity, found.path) == (3.0 * RATE_HZ, -1, None)
    assert found.gain_db == pytest.approx(6.0206, abs=1e-4)
