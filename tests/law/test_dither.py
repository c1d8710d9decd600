"""Dither is tied to its place in the piece, and its error knows nothing of the music."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, strategies as st
from numpy.typing import NDArray

from stagefx.dsp.blocks import GRID_FRAMES
from stagefx.dsp.dither import quantise
from stagefx.dsp.random_numbers import bytes_at, grid_generator, words_at

Codes = NDArray[np.int32]


def codes_of(audio: NDArray[np.float64], *, first_frame: int = 0, **options: int) -> Codes:
    return quantise(audio, bits=16, first_frame=first_frame, **options).codes


@pytest.mark.parametrize("channels", [1, 2, 3, 8])
@given(cuts=st.lists(st.integers(0, 3000), max_size=8))
def test_a_frame_gets_the_same_dither_whatever_the_block(channels: int, cuts: list[int]) -> None:
    audio = np.random.default_rng(0).uniform(-0.9, 0.9, (3000, channels))
    edges = [0, *sorted(cuts), 3000]
    parts = [codes_of(audio[first:last], first_frame=first) for first, last in pairwise(edges)]
    assert np.array_equal(np.concatenate(parts), codes_of(audio))


def test_dither_far_into_a_piece_is_reached_directly() -> None:
    audio = np.zeros((10, 2))
    far = 10_000_000_000
    again = codes_of(np.zeros((5, 2)), first_frame=far + 5)
    assert np.array_equal(codes_of(audio, first_frame=far)[5:], again)


@pytest.mark.parametrize(("name", "other"), [("seed", 1), ("stream", 1)])
def test_another_seed_or_stream_is_unrelated(name: str, other: int) -> None:
    silence = np.zeros((100_000, 1))
    first, second = codes_of(silence).ravel(), codes_of(silence, **{name: other}).ravel()
    assert abs(np.corrcoef(first, second)[0, 1]) < 0.015  # 4.7 sigma


def test_channels_and_neighbours_are_unrelated() -> None:
    codes = codes_of(np.zeros((100_000, 2))).astype(float)
    assert abs(np.corrcoef(codes[:, 0], codes[:, 1])[0, 1]) < 0.015
    assert abs(np.corrcoef(codes[1:, 0], codes[:-1, 0])[0, 1]) < 0.015


@pytest.mark.parametrize("offset", [0.0, 0.1, 0.25, 0.5, 0.7, 0.99])
def test_mean_and_power_of_the_error_do_not_depend_on_the_sample(offset: float) -> None:
    audio = np.full((400_000, 1), (1234.0 + offset) / 2.0**15)
    error = codes_of(audio).ravel() - (1234.0 + offset)
    # Four sigma for 400,000 draws: mean 0.5 / 632 steps, power 0.25 * 1.1 / 632.
    assert error.mean() == pytest.approx(0.0, abs=4 * 0.5 / 632)
    assert np.square(error).mean() == pytest.approx(0.25, abs=4 * 0.25 * 1.2 / 632)
    assert np.abs(error).max() <= 1.5


def test_the_error_is_white() -> None:
    tone = 0.3 * np.sin(2.0 * np.pi * 0.01 * np.arange(1 << 17))[:, None]
    error = codes_of(tone).ravel() - tone.ravel() * 2.0**15
    spectrum = np.square(np.abs(np.fft.rfft(error)))[1:]
    bands = spectrum.reshape(16, -1).mean(axis=1)  # 4096 lines each: 1.6 % scatter
    assert bands == pytest.approx(np.full(16, bands.mean()), rel=0.08)
    assert spectrum.max() < 25.0 * spectrum.mean()  # no line stands out: no distortion


def test_without_dither_whole_steps_are_kept() -> None:
    steps = np.random.default_rng(4).integers(-(2**15), 2**15, (1000, 2))
    kept = quantise(steps / 2.0**15, bits=16, first_frame=0, dither=False)
    assert np.array_equal(kept.codes, steps)
    assert kept.overs == 0


def test_beyond_full_scale_is_clipped_and_counted() -> None:
    audio = np.array([[1.5], [-1.5], [0.5], [1.0], [-1.0]])
    clipped = quantise(audio, bits=24, first_frame=0, dither=False)
    assert clipped.codes.ravel().tolist() == [2**23 - 1, -(2**23), 2**22, 2**23 - 1, -(2**23)]
    assert clipped.overs == 2


@pytest.mark.parametrize("frames", [0, 1])
def test_nothing_and_a_single_frame(frames: int) -> None:
    assert codes_of(np.zeros((frames, 3))).shape == (frames, 3)


def test_steps_of_the_grid_have_chance_of_their_own() -> None:
    draws = [grid_generator(0, "noise", k).standard_normal(GRID_FRAMES) for k in (0, 1, 2)]
    again = grid_generator(0, "noise", 1).standard_normal(GRID_FRAMES)
    assert np.array_equal(draws[1], again)
    assert abs(np.corrcoef(draws)[np.triu_indices(3, 1)]).max() < 0.15
    assert np.intersect1d(draws[0], draws[1]).size == 0  # nor is one the other, shifted
    for other in (grid_generator(1, "noise", 1), grid_generator(0, "hum", 1)):
        assert abs(np.corrcoef(other.standard_normal(GRID_FRAMES), again)[0, 1]) < 0.15


@given(first=st.integers(0, 10**12), words=st.integers(0, 9))
def test_words_are_addressed_by_their_place(first: int, words: int) -> None:
    row = words_at(5, "row", first_word=first, words=12)
    assert np.array_equal(words_at(5, "row", first_word=first + 3, words=words), row[3 : 3 + words])
    pieces = bytes_at(5, "row", first_word=first + 3, words=words).reshape(words, 8)
    places = 256 ** np.arange(8, dtype=np.uint64)
    assert np.array_equal((pieces * places).sum(axis=1, dtype=np.uint64), row[3 : 3 + words])
