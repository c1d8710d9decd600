"""Meters, windows and filters by themselves: each against its definition written out."""

from __future__ import annotations

import math

import numpy as np
import pytest

from stagefx.dsp.bands import third_octaves_hz
from stagefx.dsp.blocks import as_block
from stagefx.dsp.envelope import StepMeter, step_frames
from stagefx.dsp.fir_design import toeplitz_solve
from stagefx.dsp.fractional_delay import whole_and_fraction
from stagefx.dsp.loudness import sliding_power, to_lufs
from stagefx.dsp.oversampling import down_filters, up_filters
from stagefx.dsp.spectra import raised_cosine
from stagefx.effects.limits.idle import calm_blocks
from stagefx.errors import AudioError
from stagefx.report.listening.levels import level_matched, loudest_moment_dbfs

RATE = 48000


@pytest.mark.parametrize("delay", [-1.25, 0.0, 0.4999, 3.75, -1e6 + 0.3])
def test_a_delay_is_whole_frames_and_at_most_half_of_one(delay: float) -> None:
    whole, rest = whole_and_fraction(delay)
    assert isinstance(whole, int)
    assert abs(rest) <= 0.5
    assert whole + rest == pytest.approx(delay, abs=1e-9)


@pytest.mark.parametrize(("rate_hz", "frames"), [(44100, 882), (48000, 960), (8, 1)])
def test_a_step_is_a_fiftieth_of_a_second_and_never_nothing(rate_hz: int, frames: int) -> None:
    assert step_frames(rate_hz) == frames


@pytest.mark.parametrize("cuts", [[2000], [882, 1118], [1, 1999], [500, 500, 1000]])
def test_a_step_has_the_power_of_its_louder_channel_whatever_the_blocks(cuts: list[int]) -> None:
    """0.5 squared, in the two whole steps of 2000 frames."""
    meter, piece = StepMeter(44100, 2), np.array([[0.5, 0.1]] * 2000)
    for block in np.split(piece, np.cumsum(cuts)[:-1]):
        meter.add(block)
    np.testing.assert_allclose(meter.powers(), [0.25, 0.25], rtol=1e-12)


def test_less_than_a_step_has_no_power_yet() -> None:
    meter = StepMeter(44100, 1)
    assert meter.powers().size == 0
    meter.add(np.ones((881, 1)))
    assert meter.powers().size == 0


@pytest.mark.parametrize("frames", [4, 9, 1024])
def test_two_windows_half_a_length_apart_add_up_to_one(frames: int) -> None:
    window = raised_cosine(2 * frames)
    np.testing.assert_allclose(window[:frames] + window[frames:], 1.0, rtol=0.0, atol=1e-12)
    assert window[0] == 0.0


def test_loudness_is_ten_logarithms_less_0_691() -> None:
    """The offset of ITU-R BS.1770."""
    loudness = to_lufs([0.5, 1.0, 0.0])
    np.testing.assert_allclose(loudness[:2], [10.0 * math.log10(0.5) - 0.691, -0.691], atol=1e-9)
    assert loudness[2] == -np.inf


@pytest.mark.parametrize("length", [1, 2, 3, 7, 30])
@pytest.mark.parametrize("rate_hz", [100, 44100])
def test_a_sliding_mean_is_that_of_each_window_by_itself(length: int, rate_hz: int) -> None:
    """Also where a step is no whole number of frames."""
    energies = np.random.default_rng(1).uniform(size=60)
    first, per_second = 5, 30
    found = sliding_power(
        energies, first=first, length=length, rate_hz=rate_hz, per_second=per_second
    )
    edges = [(first + n) * rate_hz // per_second for n in range(61)]
    expected = [
        energies[n : n + length].sum() / (edges[n + length] - edges[n])
        for n in range(60 - length + 1)
    ]
    np.testing.assert_allclose(found, expected, rtol=1e-12)


def test_a_window_longer_than_the_piece_has_no_mean() -> None:
    assert sliding_power(np.ones(3), first=0, length=4, rate_hz=100, per_second=10).size == 0


def test_third_octaves_are_the_exact_ones_of_base_ten() -> None:
    """IEC 61260-1: 1000 Hz times powers of ten by tenths."""
    found = third_octaves_hz()
    assert found.size == 31
    np.testing.assert_allclose(found[[0, 17, -1]], [10.0**1.3, 1e3, 10.0**4.3], rtol=1e-12)
    np.testing.assert_allclose(np.diff(np.log10(found)), 0.1, rtol=1e-9)


def test_a_block_is_frames_by_channels_and_nothing_else() -> None:
    assert as_block([[0.5, -0.5], [0.25, -0.25]]).shape == (2, 2)
    with pytest.raises(AudioError, match=r"shape \(frames, channels\), not \(3,\)"):
        as_block([0.5, 0.5, 0.5])
    with pytest.raises(AudioError, match="has 2 channels where 1 are needed"):
        as_block([[0.5, -0.5]], channels=1)


@pytest.mark.parametrize("size", [1, 2, 7, 40])
def test_a_toeplitz_system_is_solved_as_numpy_solves_it(size: int) -> None:
    row = 0.7 ** np.arange(size)
    right = np.random.default_rng(size).standard_normal(size)
    whole = row[np.abs(np.subtract.outer(np.arange(size), np.arange(size)))]
    np.testing.assert_allclose(toeplitz_solve(row, right), np.linalg.solve(whole, right), rtol=1e-9)


@pytest.mark.parametrize("factor", [2, 4])
def test_filters_between_frames_leave_a_steady_voltage_as_it_is(factor: int) -> None:
    for taps in up_filters(factor):
        assert taps.sum() == pytest.approx(1.0, abs=1e-6)
    assert sum(taps.sum() for taps in down_filters(factor)) == pytest.approx(1.0, abs=1e-5)


QUIET = np.full((5, 6), 0.1)
NO_LAW = np.array([np.inf, -np.inf, 0.0])


def test_a_block_far_from_every_limit_is_calm() -> None:
    assert calm_blocks(QUIET, np.array([1.0, -1.0]), NO_LAW) == [True, True, True]


@pytest.mark.parametrize("limits", [[0.2, -1.0], [1.0, -0.2]])
def test_a_block_is_not_calm_where_its_music_could_reach_a_limit_between_frames(
    limits: list[float],
) -> None:
    assert calm_blocks(QUIET, np.array(limits), NO_LAW) == [False, False, False]


def test_a_block_is_not_calm_where_its_music_could_be_steeper_than_the_law_lets_it() -> None:
    steep = np.array([0.01, -0.01, 0.0])
    assert calm_blocks(QUIET, np.array([1.0, -1.0]), steep) == [False, False, False]


def test_one_loud_block_leaves_the_others_calm() -> None:
    rows = QUIET.copy()
    rows[1, :] = 0.9
    assert calm_blocks(rows, np.array([1.0, -1.0]), NO_LAW)[-1]
    assert not calm_blocks(rows, np.array([1.0, -1.0]), NO_LAW)[0]


def test_the_loudest_moment_of_a_sine_is_its_level_wherever_it_stands() -> None:
    """A sine of full scale is 0 dBFS; a tenth of it 20 dB less."""
    tone = np.sin(2.0 * np.pi * 1000.0 * np.arange(RATE) / RATE)[:, None]
    tone[: RATE // 2] *= 0.1
    assert loudest_moment_dbfs(tone, RATE) == pytest.approx(0.0, abs=1e-3)
    assert loudest_moment_dbfs(tone[: RATE // 2], RATE) == pytest.approx(-20.0, abs=1e-3)
    assert loudest_moment_dbfs(np.zeros((RATE, 1)), RATE) == -math.inf


def test_versions_that_differ_by_their_level_alone_come_out_the_same() -> None:
    noise = 0.1 * np.random.default_rng(1).standard_normal((RATE, 1))
    one, other = level_matched([noise, 0.5 * noise], RATE)
    np.testing.assert_allclose(one, other, rtol=0.0, atol=1e-12)


def test_versions_too_loud_for_full_scale_are_turned_down_together() -> None:
    noise = np.random.default_rng(1).standard_normal((RATE, 1))
    one, other = level_matched([noise, 0.25 * noise], RATE)
    assert np.abs(one).max() < 1.0
    np.testing.assert_allclose(one, other, rtol=0.0, atol=1e-12)
    assert np.std(one) < np.std(noise)
