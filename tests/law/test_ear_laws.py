"""What must hold of the ear model for any music: nothing changed is nothing heard, more is more."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import soundfile
import soxr
from numpy.typing import NDArray

from stagefx.dsp.levels import AWeightedMeter
from stagefx.effects.limits.slew import slew
from stagefx.hearing.ear.account import EarAccount, MaskAccount
from stagefx.hearing.ear.detection import MOST_CELLS, EarPair
from stagefx.hearing.ear.frames import Resampler
from stagefx.hearing.ear.masking import MaskMeter
from stagefx.hearing.level_at_ear import level_at_ear
from stagefx.samples import samples_folder
from tests.played import blocks_of, played

Array = NDArray[np.float64]
RATE_HZ = 44100
MUSIC = ["drums", "trio", "voice"]
STRENGTHS = range(12)


def music(name: str, seconds: float = 2.0, *, full: bool = False) -> Array:
    """Two seconds of the samples' music; at full level where wanted."""
    place = samples_folder() / "music" / f"{name}.flac"
    audio, _ = soundfile.read(place, start=8 * RATE_HZ, frames=round(seconds * RATE_HZ))
    return np.ascontiguousarray(audio / np.abs(audio).max() if full else audio)


def full_scale_spl_db(audio: Array, rate_hz: int = RATE_HZ) -> float:
    """At a listening level of 85 dB."""
    meter = AWeightedMeter(rate_hz, audio.shape[1])
    meter.add(audio)
    return level_at_ear(meter.level_db).full_scale_spl_db


def heard(
    first: Array, second: Array, spl_db: float, rate_hz: int = RATE_HZ, sizes: tuple[int, ...] = ()
) -> EarAccount:
    pair = EarPair(rate_hz, first.shape[1], spl_db)
    for one, other in zip(blocks_of(first, sizes), blocks_of(second, sizes), strict=True):
        pair.add(one, other)
    return pair.account()


def probability(first: Array, second: Array, spl_db: float, rate_hz: int = RATE_HZ) -> float:
    found = heard(first, second, spl_db, rate_hz).detection_probability
    assert found is not None
    return found


def by_frequency(audio: Array, gain: Callable[[Array], Array]) -> Array:
    """Through a response without phase; the piece's end does not come round to its beginning."""
    padded = len(audio) + RATE_HZ
    hz = np.maximum(np.fft.rfftfreq(padded, 1.0 / RATE_HZ), 1.0)
    spectrum = np.fft.rfft(audio, padded, axis=0) * gain(hz)[:, None]
    return np.ascontiguousarray(np.fft.irfft(spectrum, padded, axis=0)[: len(audio)])


def hiss(audio: Array) -> Array:
    """White noise whose power is that of a full-scale sine, apart in every channel."""
    return np.random.default_rng(7).standard_normal(audio.shape) / np.sqrt(2.0)


# --- what grows, from nothing anybody hears to plain damage, in twelve steps ---


def louder(x: Array, k: int) -> Array:
    return x * 10.0 ** (0.005 * 1.9**k / 20.0)


def softer(x: Array, k: int) -> Array:
    return x / 10.0 ** (0.005 * 1.9**k / 20.0)


def tilted(x: Array, k: int) -> Array:
    """So many decibels an octave about 1 kHz."""
    return by_frequency(x, lambda hz: (hz / 1000.0) ** (0.004 * 1.7**k / 6.0206))


def dulled(x: Array, k: int) -> Array:
    """One pole, from 160 kHz down to 1.6 kHz."""
    return by_frequency(x, lambda hz: 1.0 / np.sqrt(1.0 + (hz / (160e3 / 1.52**k)) ** 2))


def hissing(x: Array, k: int) -> Array:
    """From 115 dB under full scale up to 38."""
    return x + 10.0 ** ((-115.0 + 7.0 * k) / 20.0) * hiss(x)


def clipped(x: Array, k: int) -> Array:
    """From 0.2 dB into the limits to 14."""
    limit = np.abs(x).max() * 10.0 ** (-(0.2 + 1.25 * k) / 20.0)
    return np.clip(x, -limit, limit)


def distorted(x: Array, k: int) -> Array:
    """Second and third order, from -90 dB of the peak up to -13."""
    peak, size = np.abs(x).max(), 10.0 ** ((-90.0 + 7.0 * k) / 20.0)
    return x + size * peak * ((x / peak) ** 2 - (x / peak) ** 3)


def slewing(x: Array, k: int) -> Array:
    """The program's own slew limit, from 1.2 down to 0.02 of a full 20 kHz sine's slope."""
    slope = 2.0 * np.pi * 20e3 * np.abs(x).max() * 1.2 / 1.45**k
    return played([slew(slope, slope, 0.2e-6)], x, RATE_HZ)


@pytest.mark.parametrize("name", MUSIC)
@pytest.mark.parametrize(
    "change",
    [louder, softer, tilted, dulled, hissing, clipped, distorted, slewing],
    ids=lambda change: change.__name__,
)
def test_more_of_a_change_is_never_heard_less(
    change: Callable[[Array, int], Array], name: str
) -> None:
    audio = music(name)
    spl_db = full_scale_spl_db(audio)
    course = [probability(audio, change(audio, k), spl_db) for k in STRENGTHS]
    falls = [max(course[: k + 1]) - course[k] for k in STRENGTHS]
    assert max(falls) <= 0.02
    assert course[-1] - course[0] > 0.25


# --- a step of level ---


@pytest.mark.parametrize("name", [*MUSIC, "broadband noise"])
def test_a_step_of_level_is_noticed_between_a_tenth_and_half_a_decibel(name: str) -> None:
    if name == "broadband noise":
        audio = 0.1 * np.random.default_rng(1).standard_normal((2 * RATE_HZ, 2))
    else:
        audio = music(name)
    spl_db = full_scale_spl_db(audio)
    for sign in (1.0, -1.0):
        small, large = (audio * 10.0 ** (sign * db / 20.0) for db in (0.1, 0.5))
        assert probability(audio, small, spl_db) < 0.5 < probability(audio, large, spl_db)


@pytest.mark.parametrize("name", MUSIC)
def test_a_tenth_of_a_decibel_is_not_heard_and_a_whole_one_surely_is(name: str) -> None:
    """Electronics are compared blind with levels matched to 0.1 dB (common practice)."""
    audio = music(name)
    spl_db = full_scale_spl_db(audio)
    small, large = (audio * 10.0 ** (db / 20.0) for db in (0.1, 1.0))
    assert probability(audio, small, spl_db) < 0.2
    assert probability(audio, large, spl_db) > 0.85


@pytest.mark.parametrize("change_db", [0.2, 0.45, 1.2])
def test_the_same_for_longer_is_hardly_heard_better(change_db: float) -> None:
    """A steady difference of 1.5, 6 and 30 s: memory for a sound lasts a second or two."""
    noise = 0.1 * np.random.default_rng(8).standard_normal((30 * 48000, 1))
    found = []
    for seconds in (1.5, 6.0, 30.0):
        audio = noise[: round(seconds * 48000)]
        found.append(probability(audio, audio * 10.0 ** (change_db / 20.0), 95.0, 48000))
    assert found == sorted(found)
    assert found[-1] - found[0] < 0.1


# --- noise, and the room ---


@pytest.mark.parametrize("name", MUSIC)
def test_noise_far_under_full_level_music_is_not_heard_and_loud_noise_is(name: str) -> None:
    audio = music(name, full=True)
    spl_db = full_scale_spl_db(audio)
    faint, loud = (audio + 10.0 ** (db / 20.0) * hiss(audio) for db in (-110.0, -40.0))
    assert probability(audio, faint, spl_db) < 0.2
    assert probability(audio, loud, spl_db) > 0.95


def test_what_is_under_the_threshold_of_hearing_is_not_heard_in_silence() -> None:
    """A tone of 0 dB SPL at 125 Hz, where hearing begins at 22.1 dB (ISO 389-7)."""
    tone = np.sin(2.0 * np.pi * 125.0 * np.arange(2 * 48000) / 48000.0)[:, None]
    assert probability(np.zeros_like(tone), tone, 0.0, 48000) < 0.01
    assert probability(np.zeros_like(tone), tone, 40.0, 48000) > 0.95


@pytest.mark.parametrize("name", MUSIC)
def test_a_louder_room_hides_more(name: str) -> None:
    audio = music(name)
    spl_db = full_scale_spl_db(audio)
    change = hissing(audio, 5)
    course = []
    for room_dba in (None, 15.0, 30.0, 45.0, 60.0):
        pair, meter = (kind(RATE_HZ, 2, spl_db, room_dba) for kind in (EarPair, MaskMeter))
        pair.add(audio, change)
        meter.add(audio, change - audio)
        found = pair.account()
        course.append((found.detection_probability, meter.account().noise_to_mask_db))
    assert all(np.diff(np.array(course)[:, 0]) <= 0.0)
    assert all(np.diff(np.array(course)[:, 1]) <= 0.0)
    assert course[-1][0] < 0.5 * course[0][0]


def test_a_room_as_loud_as_a_tone_hides_it_but_not_one_far_under_it() -> None:
    """1 kHz at 20 dB SPL.  A tone is masked up to 18 dB over a noise's density (J. E. Hawkins,
    S. S. Stevens, JASA 22 (1), 1950, from memory): up to 10 dB SPL at 30 dBA, to 36 at 55.
    """
    tone = np.sin(2.0 * np.pi * 1000.0 * np.arange(2 * 48000) / 48000.0)[:, None]
    found = []
    for room_dba in (None, 30.0, 55.0):
        pair = EarPair(48000, 1, 20.0, room_dba)
        pair.add(np.zeros_like(tone), tone)
        found.append(pair.account().detection_probability)
    assert found[1] > 0.9
    assert found[2] < 0.05


def test_what_is_above_18_khz_is_not_heard() -> None:
    """ISO 389-7 ends at 18 kHz."""
    audio = music("trio")
    n = np.arange(len(audio))[:, None]
    tone = 0.1 * np.sin(2.0 * np.pi * 21e3 / RATE_HZ * n) * np.minimum(1.0, n / 2205.0)
    assert probability(audio, audio + tone, full_scale_spl_db(audio)) < 0.01


# --- nothing, and what comes to nothing ---


@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000])
def test_nothing_changed_is_nothing_heard(rate_hz: int) -> None:
    audio = music("trio")
    found = heard(audio, audio.copy(), 100.0, rate_hz)
    assert found.detection_probability == 0.0
    assert found.noise_to_mask_db == -np.inf
    assert found.disturbed_frames_share == 0.0
    assert found.worst_s is found.worst_hz is found.worst_steps_db is None
    assert not found.course.probability.any()


def test_silence_twice_is_nothing_heard() -> None:
    found = heard(np.zeros((RATE_HZ, 2)), np.zeros((RATE_HZ, 2)), 120.0)
    assert (found.detection_probability, found.disturbed_frames_share) == (0.0, 0.0)
    assert found.noise_to_mask_db == -np.inf


def test_the_order_of_the_versions_does_not_matter() -> None:
    audio = music("drums")
    change = audio + 1e-4 * hiss(audio)
    assert probability(audio, change, 105.0) == probability(change, audio, 105.0)


def test_full_scale_is_but_a_name() -> None:
    audio = music("voice")
    change = distorted(audio, 8)
    expected = probability(audio, change, 105.0)
    quieter = probability(audio / 8.0, change / 8.0, 105.0 + 20.0 * np.log10(8.0))
    assert quieter == pytest.approx(expected, rel=1e-9)


def test_one_ear_is_enough() -> None:
    """Two equal channels are heard as one is; of two channels the worse one counts."""
    left = music("trio")[:, :1]
    change = left + 3e-4 * hiss(left)
    alone = heard(left, change, 100.0)
    twice = heard(np.hstack([left, left]), np.hstack([change, change]), 100.0)
    beside = heard(np.hstack([left, left]), np.hstack([left, change]), 100.0)
    for found in (twice, beside):
        assert found.detection_probability == alone.detection_probability
        assert found.noise_to_mask_db == alone.noise_to_mask_db


# --- where and when ---


def test_a_burst_is_found_where_it_is() -> None:
    audio = music("trio", 6.0)
    n = np.arange(2205)
    change = audio.copy()
    change[4 * RATE_HZ :][: n.size, 0] += 0.01 * np.hanning(n.size) * np.sin(0.9 * n)
    found = heard(audio, change, 100.0)
    assert found.worst_s == pytest.approx(4.025, abs=0.03)
    assert found.worst_hz == pytest.approx(0.9 * RATE_HZ / (2.0 * np.pi), rel=0.05)
    course, picture = found.course, found.landscape
    begin_s = float(course.probability.argmax() * course.step_s)
    # averaged as loudness is, a tenth of a second, a burst shows a little later than it is
    assert begin_s - 0.1 < 4.03 < begin_s + 2.0 * course.step_s
    row, cell = np.unravel_index(picture.steps_db.argmax(), picture.steps_db.shape)
    assert cell * picture.cell_s == pytest.approx(4.0, abs=2.0 * picture.cell_s)
    assert picture.edges_hz[row] < found.worst_hz < picture.edges_hz[row + 1]
    assert picture.steps_db.max() == pytest.approx(found.worst_steps_db, abs=1e-9)


# --- blocks, rates, length ---


@pytest.mark.parametrize("rate_hz", [48000, 44100, 11025, 192000])
def test_blocks_do_not_matter(rate_hz: int) -> None:
    rng = np.random.default_rng(2)
    first = rng.standard_normal((3 * rate_hz // 2, 2)) * 0.1
    second = first + 1e-4 * rng.standard_normal(first.shape)
    whole = heard(first, second, 95.0, rate_hz)
    cut = heard(first, second, 95.0, rate_hz, sizes=(1, 0, 1023, 40_000, 777))
    assert cut.detection_probability == whole.detection_probability
    assert cut.as_json() == whole.as_json()


def remainder_account(sizes: tuple[int, ...], stops: int | None = None) -> MaskAccount:
    audio = music("drums")
    noise = 1e-3 * hiss(audio)
    meter = MaskMeter(RATE_HZ, 2, 100.0)
    for one, other in zip(blocks_of(audio, sizes), blocks_of(noise, sizes), strict=True):
        meter.add(one, other)
        if stops:
            meter.account()
    return meter.account()


def test_looking_changes_nothing() -> None:
    assert remainder_account((5000,) * 12, stops=1) == remainder_account(())
    audio = music("drums")
    change, looked, left_alone = distorted(audio, 7), *(EarPair(RATE_HZ, 2, 100.0) for _ in "ab")
    for start in range(0, len(audio), 20_000):
        for pair in (looked, left_alone):
            pair.add(audio[start : start + 20_000], change[start : start + 20_000])
        looked.account()
    assert looked.account().as_json() == left_alone.account().as_json()


@pytest.mark.parametrize("rate_hz", [44100, 11025, 192000])
def test_stretches_are_resampled_without_seams(rate_hz: int) -> None:
    """As soxr does the whole in one go; its HQ keeps 20 bits, here of a peak near 5."""
    audio = np.random.default_rng(5).standard_normal((7 * rate_hz, 1))
    resampler = Resampler(rate_hz, 1)
    found = [*(part for block in np.split(audio, 7) for part in resampler.add(block.T))]
    joined = np.concatenate([*found, resampler.rest()], axis=1)[0]
    expected = soxr.resample(audio[:, 0], rate_hz, 48000, "HQ")
    assert len(found) > 1
    assert joined == pytest.approx(expected, abs=5.0 / 2**20)


def test_silence_around_the_music_does_not_dilute_the_noise() -> None:
    audio = music("trio")
    noise = 1e-3 * hiss(audio)
    quiet = np.zeros_like(audio)
    found = []
    for sound, added in (
        (audio, noise),
        (np.concatenate([audio, quiet]), np.concatenate([noise, quiet])),
    ):
        pair, meter = EarPair(RATE_HZ, 2, 100.0), MaskMeter(RATE_HZ, 2, 100.0)
        pair.add(sound, sound + added)
        meter.add(sound, added)
        found.append((pair.account(), meter.account()))
    for one, other in zip(*found, strict=True):
        assert other.noise_to_mask_db == pytest.approx(one.noise_to_mask_db, abs=0.2)
        assert other.disturbed_frames_share == pytest.approx(one.disturbed_frames_share, abs=0.03)


def test_the_rate_hardly_matters() -> None:
    """The same sound at three rates: a band-limited piece, resampled by its Fourier series."""
    spectrum = np.fft.rfft(np.random.default_rng(3).standard_normal((96000, 1)), axis=0)
    spectrum[int(2 * 18e3) :] = 0.0
    found = []
    for rate_hz in (44100, 48000, 88200):
        audio = np.fft.irfft(spectrum, 2 * rate_hz, axis=0) * rate_hz / 48000 * 0.1
        found.append(probability(audio, audio * 10.0 ** (0.4 / 20.0), 95.0, rate_hz))
    assert 0.3 < found[1] < 0.9
    assert found == pytest.approx([found[1]] * 3, abs=0.01)


def test_what_is_kept_does_not_grow() -> None:
    """Two minutes of a changing level: a picture of the same size as of ten seconds."""
    rng = np.random.default_rng(4)
    block = 0.1 * rng.standard_normal((48000, 1))
    pair = EarPair(48000, 1, 95.0)
    for second in range(120):
        pair.add(block, block * 10.0 ** (0.001 * second / 20.0))
    found = pair.account()
    assert found.landscape.cells <= MOST_CELLS
    assert found.landscape.cell_s * found.landscape.cells == pytest.approx(120.0, abs=1.0)
    assert found.worst_s is not None
    assert found.worst_s > 118.0
    assert len(found.as_json()["course"]["probability"]) <= 256
    assert found.landscape.steps_db.max() == pytest.approx(found.worst_steps_db, abs=1e-9)


def test_no_moment_is_lost_from_the_picture() -> None:
    """Clicks a second apart, whatever cells have been joined: as many columns stand out."""
    audio = 0.1 * np.random.default_rng(6).standard_normal((40 * 48000, 1))
    change = audio.copy()
    change[24_000::48_000] += 0.5
    picture = heard(audio, change, 90.0, 48000).landscape
    loud = picture.steps_db.max(axis=0) > -20.0
    rising = int((loud[1:] & ~loud[:-1]).sum()) + int(loud[0])
    assert picture.cell_s < 0.4
    assert rising == 40
