"""What was done to a second version as a whole is named, at its place, whichever comes first."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import bilinear, hilbert, sosfilt, tf2zpk, zpk2sos

from stagefx.align.alignment import align
from stagefx.difference.decomposition import Difference, take_apart
from stagefx.difference.edits import Edit
from stagefx.errors import ComparisonError
from stagefx.io.files import open_audio
from stagefx.io.recording import HeldAudio
from tests.band_limited import RATE_HZ, sound
from tests.knocks.counts import in_turn
from tests.warped import played_at, wandering_clock

Array = NDArray[np.float64]
PIECES = ("drums", "trio", "voice")
RATE = 44100
"""Of the sample music, Hz."""


@cache
def music(piece: str, start_s: float = 5.0, seconds: float = 10.0) -> Array:
    """A passage of the sample music, faded over 20 ms at both ends."""
    place = Path(__file__).parents[2] / "samples" / "music" / f"{piece}.flac"
    with open_audio(place) as held_file:
        found = 0.7 * held_file.read(round(start_s * RATE), round((start_s + seconds) * RATE))
    ramp = np.sin(0.5 * np.pi * np.arange(882) / 882.0)[:, None] ** 2
    found[:882] *= ramp
    found[-882:] *= ramp[::-1]
    return found


def compared(first: Array, second: Array, rate_hz: int = RATE) -> Difference:
    pieces = (HeldAudio(np.ascontiguousarray(each), rate_hz) for each in (first, second))
    return take_apart(*pieces)


def one(found: Difference, kind: str) -> Edit:
    (edit,) = (each for each in found.edits if each.kind == kind)
    return edit


def all_pass(samples: Array, hz: float, q: float) -> Array:
    """The analogue all-pass (s² - ω s/Q + ω²) / (s² + ω s/Q + ω²) by scipy's bilinear transform."""
    omega = 2.0 * RATE * np.tan(np.pi * hz / RATE)
    down = np.array([1.0, omega / q, omega**2])
    sections = zpk2sos(*tf2zpk(*bilinear(down * [1.0, -1.0, 1.0], down, RATE)))
    return np.asarray(sosfilt(sections, samples, axis=0))


@pytest.mark.parametrize(("frames", "piece"), [
    (1, "trio"), (441, "drums"), (1764, "voice"), (4410, "trio"), (88_200, "drums"),
])  # fmt: skip
def test_a_cut_is_found_and_seen_from_the_other_side_it_is_an_insertion(
    frames: int, piece: str
) -> None:
    whole, at = music(piece), 5 * RATE
    short = np.delete(whole, np.arange(at, at + frames), axis=0)
    cut = one(compared(whole, short), "cut")
    assert cut.length_s == pytest.approx(frames / RATE, abs=1e-9)
    assert cut.at_s == pytest.approx(5.0, abs=5e-3)
    back = compared(short, whole).edits
    assert [each.kind in {"inserted", "repeated"} for each in back] == [True]
    assert back[0].length_s == pytest.approx(frames / RATE, abs=1e-9)
    assert back[0].at_s == pytest.approx(5.0, abs=5e-3)


@pytest.mark.parametrize(("frames", "piece"), [(3, "trio"), (64, "drums"), (882, "voice")])
def test_a_repeat_is_found_and_told_from_an_insertion(frames: int, piece: str) -> None:
    whole, at = music(piece), 4 * RATE
    again = np.insert(whole, at, whole[at - frames : at], axis=0)
    repeated = one(compared(whole, again), "repeated")
    assert repeated.at_s == pytest.approx(4.0, abs=1e-3)
    assert repeated.length_s == pytest.approx(frames / RATE, abs=1e-9)
    noise = 0.05 * np.random.default_rng(2).standard_normal((13_230, 2))
    inserted = one(compared(whole, np.insert(whole, at, noise, axis=0)), "inserted")
    assert inserted.length_s == pytest.approx(0.3, abs=1e-9)
    assert inserted.level_db == pytest.approx(20.0 * np.log10(0.05 * 2.0**0.5), abs=0.3)


def test_of_several_cuts_each_is_found() -> None:
    whole = music("trio")
    short = whole
    for at_s, frames in ((8.0, 30), (5.0, 882), (2.0, 5)):
        short = np.delete(short, np.arange(frames) + round(at_s * RATE), axis=0)
    cuts = [each for each in compared(whole, short).edits if each.kind == "cut"]
    assert [round(each.length_s * RATE) for each in cuts] == [5, 882, 30]
    assert [each.at_s for each in cuts] == pytest.approx([2.0, 5.0, 8.0], abs=5e-3)


def test_between_the_passages_an_alignment_goes_by_a_cut_is_found_too() -> None:
    """A minute and a half, softer where the cut is: the liveliest passages are looked at first."""
    whole = np.concatenate([sound(30.0, seed=seed, channels=1) for seed in (11, 13, 15)])
    whole[35 * RATE_HZ : 50 * RATE_HZ] *= 0.2
    second = np.delete(whole, 41 * RATE_HZ, axis=0)
    at = 43 * RATE_HZ
    second = np.insert(second, at, second[at - 1 : at], axis=0)
    found = compared(whole, second, RATE_HZ).edits
    assert [each.kind for each in found] == ["cut", "repeated"]
    assert [each.at_s for each in found] == pytest.approx([41.0, 43.0], abs=1e-3)


@pytest.mark.parametrize("piece", PIECES)
def test_what_is_missing_or_added_at_the_ends(piece: str) -> None:
    whole = music(piece)
    late = compared(whole, whole[3 * RATE :])
    assert one(late, "missing at the beginning").length_s == pytest.approx(3.0)
    missing = one(compared(whole, whole[: -3 * RATE]), "missing at the end")
    assert (missing.at_s, missing.length_s) == (pytest.approx(7.0), pytest.approx(3.0))
    assert missing.level_db is not None
    assert missing.level_db > -30.0
    silence = one(compared(whole, np.pad(whole, ((2 * RATE, 0), (0, 0)))), "added at the beginning")
    assert (silence.length_s, silence.silent, silence.level_db) == (2.0, True, None)
    noise = 0.05 * np.random.default_rng(1).standard_normal((2 * RATE, 2))
    added = one(compared(whole, np.concatenate([whole, noise])), "added at the end")
    assert (added.at_s, added.length_s, added.silent) == (10.0, 2.0, False)


def test_a_part_of_a_frame_is_no_edit() -> None:
    music_there, spectrum = music("trio"), np.fft.rfft(music("trio"), axis=0)
    turns = np.fft.rfftfreq(len(music_there))[:, None]
    late = np.fft.irfft(spectrum * np.exp(-2j * np.pi * turns * 0.4), len(music_there), axis=0)
    assert compared(music_there, late).edits == ()


@pytest.mark.parametrize(("piece", "filtered"), in_turn(PIECES, [
    (1000.0, 0.78), (300.0, 0.7), (2000.0, 0.94), (2200.0, 10.0), (150.0, 0.7), (5000.0, 0.6),
]))  # fmt: skip
def test_an_all_pass_in_both_channels_is_no_edit_and_no_other_music(
    piece: str, filtered: tuple[float, float]
) -> None:
    first, (hz, q) = music(piece), filtered
    found = compared(first, all_pass(first, hz, q))
    assert found.edits == ()
    assert found.alignment.remarks == ()
    assert abs(found.alignment.delay_frames) < 4.0
    assert found.level_db == pytest.approx(0.0, abs=0.02)
    assert found.alignment.gain_db == pytest.approx(0.0, abs=0.2)
    if 500.0 <= hz <= 2000.0:  # group delay 4 Q / ω at the middle: textbook
        expected_ms = 4e3 * q / (2.0 * np.pi * hz) - 1e3 * found.alignment.delay_frames / RATE
        assert found.group_delay_ms == pytest.approx(expected_ms, rel=0.25)


@pytest.mark.parametrize("piece", PIECES)
def test_exchanged_turned_over_and_dead_channels_are_named(piece: str) -> None:
    first = music(piece)
    assert one(compared(first, first[:, ::-1]), "exchanged channels").amount is not None
    assert one(compared(first, first * [1.0, -1.0]), "inverted channel").channel == 1
    assert one(compared(first, first * [0.0, 1.0]), "dead channel").channel == 0
    assert one(compared(first * [0.0, 1.0], first), "dead channel").channel == 0
    assert one(compared(first, -first), "inverted polarity").channel is None


def test_exchanged_channels_by_how_far_they_lie_apart() -> None:
    first = sound(8.0) * [1.0, 0.5]
    found = one(compared(first, first[:, ::-1], RATE_HZ), "exchanged channels")
    assert found.amount == pytest.approx(6.02, abs=1.5)  # two noises also differ by chance


def test_channels_that_share_all_are_not_exchanged() -> None:
    middle = music("voice")[:, :1]
    first = np.concatenate([middle, middle], axis=1)
    hiss = 1e-4 * np.random.default_rng(4).standard_normal(first.shape)
    for second in (first, first + hiss, all_pass(first, 700.0, 1.0), first[:, ::-1] + hiss):
        assert not any(each.kind == "exchanged channels" for each in compared(first, second).edits)


@pytest.mark.parametrize("percent", [0.1, -0.5, 2.0, -4.0])
def test_another_speed_is_measured_and_never_other_music(percent: float) -> None:
    first = sound(10.0, channels=1)
    clock = np.arange(round(len(first) / (1.0 + 0.01 * percent)) - 100) * (1.0 + 0.01 * percent)
    found = compared(first, played_at(first, clock), RATE_HZ)
    assert one(found, "speed").amount == pytest.approx(percent, abs=1e-5)
    assert found.null_db.after_delay < -80.0


@pytest.mark.parametrize(("percent", "hz", "weight_db"), [(0.5, 0.63, -8.4), (0.1, 4.0, 0.0)])
def test_wow_is_followed_and_weighted(percent: float, hz: float, weight_db: float) -> None:
    """Points of the curve of IEC 60386 (from memory); a sine is exceeded 5 % of the time at
    sin(0.95 90°) = 0.997 of its peak."""
    first = sound(10.0, channels=1)
    clock = wandering_clock(
        len(first), RATE_HZ, late=0.0, ppm=0.0, by_ppm=1e4 * percent, every_s=1.0 / hz
    )
    found = compared(first, played_at(first, clock), RATE_HZ)
    assert one(found, "wow").amount == pytest.approx(
        0.997 * percent * 10.0 ** (weight_db / 20.0), rel=0.04
    )
    assert found.null_db.after_delay < -30.0


def test_a_direct_voltage_is_named_with_its_size() -> None:
    first = music("trio")
    assert one(compared(first, first + 0.15), "direct voltage").amount == pytest.approx(0.15, 1e-3)
    one_side = one(compared(first, first + np.array([0.0, 0.02])), "direct voltage")
    assert (one_side.channel, one_side.amount) == (1, pytest.approx(0.02, rel=0.01))


@pytest.mark.parametrize("piece", PIECES)
def test_a_channel_turned_by_90_degrees_leaves_levels_and_balance(piece: str) -> None:
    """By scipy's Hilbert transform."""
    first = music(piece)
    turned = first.copy()
    turned[:, 0] = hilbert(first[:, 0]).imag
    found = compared(first, turned)
    assert found.balance_db == pytest.approx(0.0, abs=0.2)
    assert found.level_db == pytest.approx(0.0, abs=0.05)
    assert found.interchannel_phase_deg == pytest.approx(90.0, abs=3.0)
    assert found.edits == ()


@pytest.mark.parametrize("piece", PIECES)
def test_a_channel_that_comes_late_by_100_us(piece: str) -> None:
    first = music(piece)
    spectrum = np.fft.rfft(first[:, 0])
    turns = np.fft.rfftfreq(len(first))
    late = first.copy()
    late[:, 0] = np.fft.irfft(spectrum * np.exp(-2j * np.pi * turns * 4.41), len(first))
    found = compared(first, late)
    assert found.interchannel_delay_us == pytest.approx(100.0, abs=0.5)
    assert found.interchannel_phase_deg == pytest.approx(0.0, abs=0.5)


def test_level_is_that_of_what_is_heard() -> None:
    first = music("drums")
    tone = 0.1 * np.sin(2.0 * np.pi * 21e3 / RATE * np.arange(len(first)))[:, None]
    assert compared(first, first + tone).level_db == pytest.approx(0.0, abs=1e-3)
    assert compared(first, 0.9 * first).level_db == pytest.approx(-0.9151, abs=1e-4)
    bands = compared(first, 0.5 * first).band_powers
    assert bands.shape == (2, 2, 31)
    assert bands[1] == pytest.approx(0.25 * bands[0], rel=1e-9)
    mean_square = np.square(first).mean(axis=0)
    assert bands[0].sum(axis=1) == pytest.approx(mean_square, rel=0.1)


def test_coherence_between_the_channels() -> None:
    apart = sound(8.0)
    alike = np.repeat(apart[:, :1], 2, axis=1)
    half = np.stack([apart[:, 0] + apart[:, 1], apart[:, 0] - 0.0 * apart[:, 1]], axis=1)
    for first, expected in ((apart, 0.0), (alike, 1.0), (half, 0.5)):
        found = compared(first, first, RATE_HZ).interchannel_coherence
        assert found == pytest.approx(expected, abs=0.06)
    assert compared(apart[:, :1], apart[:, :1], RATE_HZ).interchannel_coherence is None


@pytest.mark.parametrize(
    ("one_place", "other_place"),
    [
        (("drums", 0.0), ("trio", 0.0)),
        (("drums", 0.0), ("voice", 20.0)),
        (("trio", 20.0), ("voice", 0.0)),
        (("drums", 0.0), ("drums", 18.5)),
        (("trio", 0.0), ("trio", 22.5)),
        (("voice", 0.0), ("voice", 23.0)),
    ],
)
def test_other_music_is_refused(
    one_place: tuple[str, float], other_place: tuple[str, float]
) -> None:
    pieces = (HeldAudio(music(*each), RATE) for each in (one_place, other_place))
    with pytest.raises(ComparisonError, match="not the same music"):
        align(*pieces)
