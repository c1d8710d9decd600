"""The ear's frames, slopes and accounts, each by itself."""

from __future__ import annotations

import numpy as np
import pytest

from stagefx.errors import ComparisonError
from stagefx.hearing.ear.account import Course, Landscape
from stagefx.hearing.ear.frames import FrameSource
from stagefx.hearing.ear.masking import check_pair, frame_time_s
from stagefx.hearing.ear.scale import band_centres_hz
from stagefx.hearing.ear.spreading import (
    line_range,
    lower_sum,
    upper_slope_nepers,
)
from stagefx.hearing.segmentation import phrasing
from stagefx.io.recording import HeldAudio


@pytest.mark.parametrize("cuts", [[50_000], [33_792, 16_208], [1, 49_999], [10_000] * 5])
def test_audio_is_cut_into_the_same_frames_whatever_the_blocks(cuts: list[int]) -> None:
    """Frames of 2048, half overlapping, so that batches overlap by 1024."""
    piece = np.arange(50_000.0)[None, :]
    source, found = FrameSource(48000, 1), []
    for block in np.split(piece, np.cumsum(cuts)[:-1], axis=1):
        found += [batch.copy() for batch in source.add(block)]
    found += [batch.copy() for batch in source.rest()]
    assert [batch.shape for batch in found] == [(1, 33_792), (1, 16_384)]
    # a ramp: nothing is left out or told twice, and the second begins half a frame back
    whole = np.concatenate([found[0][0], found[1][0, 1024:]])
    np.testing.assert_array_equal(whole[whole > 0.0], np.arange(1.0, whole.max() + 1.0))
    np.testing.assert_array_equal(found[1][0, :1024], found[0][0, -1024:])


def test_asking_for_the_rest_leaves_everything_as_it_is() -> None:
    source = FrameSource(48000, 1)
    list(source.add(np.ones((1, 10_000))))
    first = [batch.copy() for batch in source.rest()]
    for one, other in zip(first, source.rest(), strict=True):
        np.testing.assert_array_equal(one, other)


def test_frames_follow_each_other_at_half_their_length() -> None:
    """2048 and 1024 frames at 48 kHz."""
    assert frame_time_s(0) == pytest.approx(1024 / 48000)
    assert frame_time_s(8) - frame_time_s(7) == pytest.approx(1024 / 48000)


def test_a_pair_is_turned_to_rows_of_channels_and_must_be_of_one_length() -> None:
    one, other = check_pair(np.zeros((5, 2)), np.ones((5, 2)), 2)
    assert one.shape == other.shape == (2, 5)
    with pytest.raises(ComparisonError, match="has 5 frames and the second 4"):
        check_pair(np.zeros((5, 2)), np.ones((4, 2)), 2)


def test_the_upper_slope_of_a_band_is_that_of_the_standard() -> None:
    """ITU-R BS.1387: -24 - 230 Hz / f dB a Bark, in bands of a quarter of one."""
    found = upper_slope_nepers() * 10.0 / np.log(10.0) / 0.25
    np.testing.assert_allclose(found, -24.0 - 230.0 / band_centres_hz(), rtol=1e-9)


def test_the_lower_slope_adds_up_to_a_geometric_series() -> None:
    """27 dB a Bark down, in bands of a quarter of one."""
    step = 10.0 ** (-2.7 * 0.25)
    expected = np.cumsum(step ** np.arange(band_centres_hz().size))
    np.testing.assert_allclose(lower_sum(), expected, rtol=1e-12)


def test_the_lines_in_use_are_those_from_80_hz_to_18_khz() -> None:
    """Lines of 2048 frames at 48 kHz lie 23.4 Hz apart; the last is left out."""
    first, end = line_range()
    assert first * 48000 / 2048 == pytest.approx(80.0, abs=12.0)
    assert (end - 1) * 48000 / 2048 == pytest.approx(18e3, abs=12.0)


def test_a_course_is_thinned_by_its_largest_values() -> None:
    whole = Course(0.5, np.array([0.0, 0.25, 0.125]), np.array([3.0, 1.0, 2.0]))
    thin = whole.thinned(2)
    np.testing.assert_array_equal(thin.probability, [0.25, 0.125])
    np.testing.assert_array_equal(thin.evidence, [3.0, 2.0])
    assert thin.step_s == 1.0
    assert whole.thinned(3) is whole


def test_a_landscape_is_as_wide_as_its_stretches_of_time() -> None:
    assert Landscape(1.0, np.array([80.0, 200.0, 400.0]), np.zeros((2, 4))).cells == 4


@pytest.mark.parametrize("at_s", [0.3, 0.5])
def test_something_begins_where_silence_ends(at_s: float) -> None:
    hit = np.zeros((44100, 1))
    first = round(at_s * 44100)
    hit[first:] = 0.1 * np.random.default_rng(1).standard_normal((44100 - first, 1))
    found = phrasing(HeldAudio(hit, 44100), 0.0, 1.0)
    assert found.times_s[found.onset.argmax()] == pytest.approx(at_s, abs=0.05)
