"""Delay, gain and polarity between two versions of a piece are found, or it is said why not."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.align.alignment import align
from stagefx.difference.decomposition import take_apart
from stagefx.difference.pairs import side_by_side
from stagefx.errors import ComparisonError
from stagefx.io.files import AudioFormat, open_audio
from stagefx.io.recording import HeldAudio
from tests.band_limited import RATE_HZ, sound, tone

Array = NDArray[np.float64]
MUSIC = sound(5.0)
PIECES = ("drums", "trio", "voice")
SILENCE = 8192
"""Frames of silence around a piece that is filtered as one period."""


def held(samples: Array, rate_hz: int = RATE_HZ) -> HeldAudio:
    return HeldAudio(np.ascontiguousarray(samples), rate_hz)


@cache
def ten_seconds(piece: str) -> tuple[Array, int]:
    place = Path(__file__).parents[2] / "samples" / "music" / f"{piece}.flac"
    with open_audio(place) as music:
        rate_hz = music.format.rate_hz
        return music.read(5 * rate_hz, 15 * rate_hz), rate_hz


def delayed(music: Array, frames: float) -> tuple[Array, Array]:
    """A piece without anything above 0.45 of its rate, as it is and exactly so much later."""
    padded = np.pad(music, ((SILENCE, SILENCE), (0, 0)))
    spectrum = np.fft.rfft(padded, axis=0)
    turns = np.fft.rfftfreq(len(padded))[:, None]
    spectrum[turns[:, 0] > 0.45] = 0.0
    late = np.exp(-2j * np.pi * turns * frames)
    both = (np.fft.irfft(each, len(padded), axis=0) for each in (spectrum, spectrum * late))
    first, second = (each[SILENCE:-SILENCE] for each in both)
    return first, second


@pytest.mark.parametrize("piece", PIECES)
def test_a_pure_delay_of_ten_seconds_over_a_floor_at_minus_60_db(piece: str) -> None:
    """The promise: within 2e-5 frame."""
    music, rate_hz = ten_seconds(piece)
    random = np.random.default_rng(8)
    for frames in (0.5, -1234.321):
        first, second = delayed(music, frames)
        floor = 1e-3 * np.sqrt(np.mean(first**2)) * random.standard_normal(first.shape)
        found = align(held(first, rate_hz), held(second + floor, rate_hz))
        assert found.delay_frames == pytest.approx(frames, abs=2e-5)
        assert found.gain_db == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("piece", PIECES)
def test_without_a_floor_a_delay_is_found_and_taken_away_to_the_dither(piece: str) -> None:
    music, rate_hz = ten_seconds(piece)
    first, second = delayed(music, 0.37)
    found = take_apart(held(first, rate_hz), held(-0.5 * second, rate_hz))
    assert found.alignment.polarity == -1
    assert found.alignment.delay_frames == pytest.approx(0.37, abs=1e-8)
    assert found.alignment.gain_db == pytest.approx(-6.0206, abs=1e-5)
    assert found.null_db.after_delay < -140.0


@pytest.mark.parametrize("late", [3, -3, 20_000, -20_000, 190_000, -190_000, 1_400_000])
def test_a_lag_of_up_to_half_a_minute(late: int) -> None:
    lead = np.random.default_rng(3).standard_normal((abs(late), 2)) * 1e-4
    longer = np.concatenate([lead, -0.7 * MUSIC])
    pieces = (held(MUSIC), held(longer)) if late > 0 else (held(longer), held(MUSIC))
    found = align(*pieces)
    assert found.delay_frames == late
    assert found.polarity == -1
    assert abs(found.gain_db) == pytest.approx(-20.0 * np.log10(0.7), abs=1e-6)


def test_what_begins_farther_apart_is_said_not_to_be_the_same_music() -> None:
    late = np.concatenate([np.zeros((31 * RATE_HZ, 2)), MUSIC])
    with pytest.raises(ComparisonError, match=r"not the same music.*within 30 s"):
        align(held(MUSIC), held(late))
    assert align(held(MUSIC), held(late), search_s=32.0).delay_frames == 31 * RATE_HZ


def test_of_music_that_repeats_itself_the_nearest_place_is_taken() -> None:
    loop = np.tile(MUSIC[: RATE_HZ // 2], (12, 1))
    late = np.concatenate([np.zeros((5, 2)), loop])
    assert align(held(loop), held(loop)).delay_frames == 0.0
    assert align(held(loop), held(late)).delay_frames == 5.0


@pytest.mark.parametrize("hz", [50.0, 1000.0, 10_000.0])
def test_a_tone_is_aligned_to_the_nearest_period(hz: float) -> None:
    first, second = tone(hz, 3.0), tone(hz, 3.0, np.exp(-2j * np.pi * hz / RATE_HZ))
    found = align(held(first), held(second))
    assert found.delay_frames == pytest.approx(1.0, abs=1e-6)
    assert found.polarity == 1


def test_noise_as_loud_as_the_music_does_not_hide_it() -> None:
    noise = np.random.default_rng(5).standard_normal(MUSIC.shape) * np.sqrt(np.mean(MUSIC**2))
    found = align(held(MUSIC), held(np.roll(MUSIC, 700, axis=0) + 0.7 * noise))
    assert found.delay_frames == pytest.approx(700.0, abs=0.05)


@pytest.mark.parametrize("rate_hz", [8000, 22_050, 192_000])
def test_every_rate(rate_hz: int) -> None:
    music = np.cumsum(np.random.default_rng(6).standard_normal((3 * rate_hz, 1)), axis=0)
    first, second = delayed(music - music.mean(), 12.3)
    assert align(held(first, rate_hz), held(second, rate_hz)).delay_frames == pytest.approx(
        12.3, abs=1e-4
    )


def test_a_steady_voltage_is_silence() -> None:
    with pytest.raises(ComparisonError, match="is silent"):
        align(held(np.full((RATE_HZ, 1), 0.2)), held(MUSIC[:RATE_HZ, :1]))


def test_music_after_a_long_silence_is_found() -> None:
    """Longer than what is probed at first."""
    rate_hz = 8000
    music = np.zeros((600 * rate_hz, 1))
    burst = slice(451 * rate_hz, 452 * rate_hz)
    music[burst] = np.random.default_rng(7).standard_normal((rate_hz, 1))
    assert align(held(music, rate_hz), held(0.5 * music, rate_hz)).gain_db == pytest.approx(-6.0206)


@dataclass(frozen=True)
class Counted:
    """A recording that remembers what was asked of it."""

    audio: HeldAudio
    asked: list[tuple[int, int]] = field(default_factory=list)
    place: str = "counted"

    @property
    def format(self) -> AudioFormat:
        return self.audio.format

    def read(self, start: int, stop: int) -> Array:
        self.asked.append((start, stop))
        return self.audio.read(start, stop)


@pytest.mark.parametrize("frames", [0.0, 0.4, 3000.4, -3000.4])
def test_after_the_alignment_each_frame_is_read_once_and_in_order(frames: float) -> None:
    first, second = Counted(held(MUSIC)), Counted(held(np.roll(MUSIC, round(frames), axis=0)))
    alignment = align(first.audio, second.audio)
    moved = type(alignment)(frames, 0.0, 1)
    for _ in side_by_side(first, second, moved):
        pass
    for counted in (first, second):
        ends = [0, *(stop for _, stop in counted.asked)]
        assert all(start >= end for (start, _), end in zip(counted.asked, ends, strict=False))


def test_what_lies_below_hearing_does_not_decide_whether_it_is_the_same_music() -> None:
    """A copy under a rumble twice as strong as the music: common practice with warped discs."""
    music = sound(3.0)
    time_s = np.arange(len(music)) / RATE_HZ
    rumble = sum(np.sin(2.0 * np.pi * hz * time_s + hz) for hz in (1.1, 2.3, 3.7, 5.9))
    strength = 2.0 * np.sqrt(np.square(music).mean() / np.square(rumble).mean())
    found = align(held(music), held(music + strength * rumble[:, None]))
    assert found.polarity == 1
    assert abs(found.delay_frames) <= 1e-3


def between(low_hz: float, high_hz: float, *, seed: int, power: float) -> Array:
    """A band of pink noise with a given mean power."""
    band = sound(3.0, lambda hz: ((hz >= low_hz) & (hz < high_hz)) + 0j, seed=seed)
    return band * np.sqrt(power / np.mean(band**2))


def test_two_pieces_over_one_rumble_are_not_the_same_music() -> None:
    """Two fifths of the power is a motor both were recorded beside; all else is other music."""
    rumble = between(25.0, 90.0, seed=1, power=0.4)
    one, other = (rumble + between(120.0, 16e3, seed=seed, power=0.6) for seed in (11, 21))
    assert np.corrcoef(one[:, 0], other[:, 0])[0, 1] == pytest.approx(0.4, abs=0.03)
    with pytest.raises(ComparisonError, match="not the same music"):
        align(held(0.1 * one), held(0.1 * other))


@pytest.mark.parametrize("share", [0.4, 0.6])
def test_where_only_an_end_touches_half_of_it_has_to_be_the_same(share: float) -> None:
    """The last third goes on under another piece, with a given share of what sounds there.

    Independent pieces add in power, so the share is the squared coherence in every band.
    """
    first, other = sound(6.0, seed=1), sound(6.0, seed=30)
    late = 4 * RATE_HZ
    goes_on = np.concatenate([first[late:], sound(4.0, seed=50)])
    second = np.sqrt(share) * goes_on + np.sqrt(1.0 - share) * other
    if share > 0.5:
        assert align(held(first), held(second)).delay_frames == pytest.approx(-late, abs=0.05)
    else:
        with pytest.raises(ComparisonError, match=r"same music: only (39|40|41) %"):
            align(held(first), held(second))


def test_what_was_worked_out_from_one_piece_is_the_same_music_however_unlike() -> None:
    """A stage far beyond its limits may leave less than half of the music recognisable."""
    one, other = sound(2.0, seed=1), sound(2.0, seed=9)
    with pytest.raises(ComparisonError, match="not the same music"):
        align(held(one), held(other))
    found = align(held(one), held(other), together=True)
    assert abs(found.delay_frames) <= 16.0
    assert (found.drift_ppm, found.drift_uncertainty_ppm) == (0.0, 0.0)
    exact = align(held(one), held(-0.5 * one), together=True)
    assert (exact.delay_frames, exact.polarity) == (0.0, -1)
    assert exact.gain_db == pytest.approx(20.0 * np.log10(0.5), abs=1e-9)
