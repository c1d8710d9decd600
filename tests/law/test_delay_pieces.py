"""How two pieces are found to lie beside each other, step by step and on noise."""

from __future__ import annotations

import numpy as np
import pytest

from stagefx.align.delay.constant import constant_delay, in_common
from stagefx.align.delay.lag import Lag, find_lag
from stagefx.align.delay.passages import informative_passages
from stagefx.align.delay.periodicity import nearest_repeat
from stagefx.align.delay.phase_slope import delay_from_phase, segment_frames
from stagefx.align.path_fit import Delays
from stagefx.align.time_path import spline_weights
from stagefx.align.track.dropouts import find_jumps
from stagefx.align.warp import read_between
from stagefx.dsp.spectra import PairMeter
from stagefx.io.recording import HeldAudio

RATE = 48000
NOISE = np.random.default_rng(1).standard_normal((RATE, 1))


def beside(first: np.ndarray, second: np.ndarray, frames: int) -> PairMeter:
    """Both passed through a meter of spectra, in segments of some frames."""
    meter = PairMeter(RATE, 1, frames)
    meter.add(first, second)
    return meter


@pytest.mark.parametrize("place", [90.0, 99.25, 110.5])
def test_between_frames_a_straight_line_is_read_where_it_is(place: float) -> None:
    line = np.arange(200.0)[:, None]
    assert read_between(line, np.array([place])).item() == pytest.approx(place, abs=1e-3)


def test_four_splines_are_those_of_the_formula_at_a_knot_and_add_up_to_one() -> None:
    """1/6, 4/6 and 1/6 at a knot: the cubic B-spline."""
    index, weights = spline_weights(np.array([1.0]), 0.0, 1.0, 2)
    assert index.tolist() == [1]
    np.testing.assert_allclose(6.0 * weights[:, 0], [1.0, 4.0, 1.0, 0.0], atol=1e-12)
    _, weights = spline_weights(np.linspace(-3.0, 15.0, 100), 0.0, 2.5, 4)
    np.testing.assert_allclose(weights.sum(axis=0), 1.0, rtol=1e-12)
    assert weights.min() >= 0.0


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize("late", [7, 0, 40])
def test_noise_is_found_late_and_upside_down(late: int, sign: float) -> None:
    second = np.pad(sign * NOISE[: RATE - late], ((late, 0), (0, 0)))
    found = constant_delay(HeldAudio(NOISE, RATE), HeldAudio(second, RATE), 0, RATE, 0.1)
    assert found.delay_frames == pytest.approx(late, abs=1e-6)
    assert found.matching.signs == (int(sign),)
    assert found.in_common == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("share", [0.25, 0.5, 1.0])
def test_what_two_pieces_have_in_common_is_a_share_of_the_second_s_power(share: float) -> None:
    other = np.random.default_rng(2).standard_normal((RATE, 1))
    second = np.sqrt(share) * NOISE + np.sqrt(1.0 - share) * other
    found = in_common(beside(NOISE, second, 1024).spectra())
    assert found == pytest.approx(share, abs=0.03)


def test_two_noises_have_nothing_in_common() -> None:
    other = np.random.default_rng(2).standard_normal((RATE, 1))
    assert in_common(beside(NOISE, other, 1024).spectra()) == pytest.approx(0.0, abs=0.02)


def test_the_passage_taken_is_where_most_moves() -> None:
    piece = np.random.default_rng(1).standard_normal((400_000, 1))
    piece[100_000:] *= 0.01
    ((begin, end),) = informative_passages(HeldAudio(piece, 8000), 0, 400_000, most=1)
    assert 0 <= begin < end <= 100_000


def test_a_short_piece_is_its_own_passage() -> None:
    found = informative_passages(HeldAudio(NOISE, RATE), 100, 5000)
    assert found == [(100, 5000)]


@pytest.mark.parametrize(("late", "polarity"), [(1234, -1), (-777, 1), (0, 1)])
def test_a_lag_is_found_to_the_frame_with_its_polarity(late: int, polarity: int) -> None:
    second = polarity * np.roll(NOISE, late, axis=0)
    pieces = HeldAudio(NOISE, RATE), HeldAudio(second, RATE)
    assert find_lag(*pieces, [(0, RATE)], search_frames=4800) == Lag(late, polarity)


@pytest.mark.parametrize("hz", [500.0, 1000.0, 2000.0])
def test_a_tone_fits_again_upside_down_half_a_period_on(hz: float) -> None:
    tone = np.sin(2.0 * np.pi * hz / RATE * np.arange(RATE))[:, None]
    found = nearest_repeat(beside(tone, tone, 4096).spectra())
    assert found is not None
    assert found.turned_over
    assert found.frames == pytest.approx(0.5 * RATE / hz, abs=0.05)


def test_noise_fits_nowhere_else_and_silence_nowhere() -> None:
    assert nearest_repeat(beside(NOISE, NOISE, 4096).spectra()) is None
    silence = np.zeros_like(NOISE)
    assert nearest_repeat(beside(silence, silence, 4096).spectra()) is None


def test_the_mean_of_two_neighbours_is_early_by_half_a_frame() -> None:
    mean = 0.5 * (NOISE[:-1] + NOISE[1:])
    found = delay_from_phase(beside(NOISE[:-1], mean, 2048).spectra())
    assert found.frames == pytest.approx(-0.5, abs=1e-3)
    assert found.uncertainty_frames < 1e-3


def test_of_silence_no_delay_is_sure() -> None:
    silence = np.zeros_like(NOISE)
    found = delay_from_phase(beside(silence, silence, 2048).spectra())
    assert (found.frames, found.uncertainty_frames) == (0.0, np.inf)


@pytest.mark.parametrize("length", [3000, 11025, 132_300, 10_000_000])
def test_segments_are_powers_of_two_and_four_of_them_fit(length: int) -> None:
    frames = segment_frames(length, rate_hz=44100)
    assert frames & (frames - 1) == 0
    assert 2 * frames < length


def test_segments_of_a_long_piece_grow_no_further() -> None:
    assert segment_frames(10**6, rate_hz=44100) == segment_frames(10**8, rate_hz=44100)


@pytest.mark.parametrize("frames", [-1.0, 3.0])
def test_lost_and_doubled_frames_are_a_step_in_a_drift(frames: float) -> None:
    at = np.arange(0.0, 1e6, 5e4)
    delays = -2e-5 * at + frames * (at > 4e5)
    (jump,) = find_jumps(Delays(at, delays, np.full(20, 0.05)))
    assert jump.frames == frames
    assert 4e5 <= jump.frame <= 4.5e5


def test_a_steady_drift_is_no_jump() -> None:
    at = np.arange(0.0, 1e6, 5e4)
    assert find_jumps(Delays(at, -2e-5 * at, np.full(20, 0.05))) == []
