"""What must hold of events, whatever the music: found, counted, placed, and not invented."""

from __future__ import annotations

import io
import math

import numpy as np
import pytest
import soundfile as sf
from numpy.typing import NDArray

from stagefx.difference.decomposition import take_apart
from stagefx.hearing.ear_model import listen
from stagefx.hearing.events.account import MAY_DB, WILL_DB, EventAccount
from stagefx.hearing.events.meter import EventMeter, excess_of
from stagefx.hearing.level_at_ear import level_of
from stagefx.io.recording import HeldAudio
from stagefx.samples import samples_folder
from tests.knocks.counts import in_turn

Array = NDArray[np.float64]
PIECES = ("drums", "trio", "voice")
RATE_HZ, SPL_DB, ROOM_DBA = 44100, 100.0, 30.0
MARGIN_DB = 1.0
"""By which pairs that nobody tells apart stay below the limit at least."""


def noise(seconds: float, seed: int = 1, level: float = 0.05) -> Array:
    return level * np.random.default_rng(seed).standard_normal((round(seconds * RATE_HZ), 1))


def of(
    first: Array,
    second: Array,
    *,
    left: Array | None = None,
    taps: Array | None = None,
    block: int = 0,
) -> EventAccount:
    meter = EventMeter(RATE_HZ, first.shape[1], SPL_DB, room_dba=ROOM_DBA, taps=taps)
    left = second - first if left is None else left
    block = block or len(first)
    for start in range(0, len(first), block):
        part = slice(start, start + block)
        meter.add(first[part], second[part], left[part])
    return meter.account()


def worst(account: EventAccount) -> float:
    assert account.worst_db is not None
    return account.worst_db


def passage(name: str, seconds: float = 10.0) -> Array:
    """From the project's own music, faded at both ends, peak 0.5."""
    start = 3 * RATE_HZ if seconds < 20.0 else 0
    music, rate_hz = sf.read(
        samples_folder() / "music" / f"{name}.flac", start=start, frames=round(seconds * RATE_HZ),
        always_2d=True,
    )  # fmt: skip
    assert rate_hz == RATE_HZ
    ends = np.minimum(np.arange(len(music)), np.arange(len(music))[::-1]) / (0.02 * RATE_HZ)
    return np.asarray(0.5 * music / np.abs(music).max() * np.minimum(ends, 1.0)[:, None])


def compared(first: Array, second: Array, listening_db: float = 85.0) -> EventAccount:
    """The whole way of two files."""
    pair = HeldAudio(first, RATE_HZ), HeldAudio(second, RATE_HZ)
    spl_db = level_of(pair[0], listening_level_db=listening_db).full_scale_spl_db
    found = take_apart(*pair)
    return listen(*pair, found, full_scale_spl_db=spl_db, room_dba=ROOM_DBA).events


def loudest(music: Array) -> int:
    """Where the loudest twentieth of a second begins, not too near the ends."""
    step = RATE_HZ // 20
    power = np.square(music[: len(music) // step * step]).reshape(-1, step * music.shape[1])
    return step * (20 + int(power.mean(axis=1)[20:-20].argmax()))


@pytest.mark.parametrize("block", [1, 777, 8820, 65536])
def test_blocks_make_no_difference(block: int) -> None:
    music = noise(2.1)[: 20_000 if block == 1 else None]
    second = music + noise(2.1, 2, 1e-3)[: len(music)]
    second[[5000, 15000]] += 1.0
    assert of(music, second, block=block) == of(music, second)
    taps = np.zeros((1, 129))
    taps[0, [60, 64, 71]] = 0.1, 1.0, -0.2
    once = of(music, second, taps=taps)
    assert once.count == 2
    assert of(music, second, taps=taps, block=block) == once


def test_twelve_clicks_are_twelve_events_in_their_places() -> None:
    music = noise(10.0, level=0.01)
    places = 9000 + 32_000 * np.arange(12)
    second = music.copy()
    second[places] += 0.2
    found = of(music, second)
    assert found.count == 12
    assert np.abs(np.array(found.at_s) - places / RATE_HZ).max() < 0.005


def test_a_click_weighs_the_same_wherever_it_falls() -> None:
    """To 1.6 dB, as the squares of two halves come to half: frames overlap by half."""
    found = []
    for frame in range(20_000, 20_111, 5):
        second = np.zeros((RATE_HZ, 1))
        second[frame] = 0.1
        found.append(worst(of(0.0 * second, second)))
    assert np.ptp(found) < 1.6


def test_events_nearer_than_50_ms_are_one() -> None:
    second = np.zeros((RATE_HZ, 1))
    second[[10_000, 11_500, 13_000, 20_000]] = 0.1
    assert of(np.zeros_like(second), second).count == 2
    rough = noise(6.0, 8, 0.3) * (np.random.default_rng(9).random((6 * RATE_HZ, 1)) < 2e-4)
    music = noise(6.0, level=1e-3)
    at_s = np.array(of(music, music + rough).at_s)
    assert len(at_s) > 20
    assert np.diff(at_s).min() >= 0.05 - 0.01


@pytest.mark.parametrize("frame", [0, 2, 130, -40, -1])
def test_the_ends_of_a_piece_count_like_all_others(frame: int) -> None:
    """Over music that is faded in and out; and the time is right."""
    ends = np.minimum(np.arange(2 * RATE_HZ), np.arange(2 * RATE_HZ)[::-1]) / 900.0
    music = noise(2.0) * np.minimum(ends, 1.0)[:, None]
    second = music.copy()
    second[frame] += 0.5
    found = of(music, second)
    assert worst(found) > WILL_DB
    assert found.count == 1
    assert abs(found.at_s[0] - (frame % len(music)) / RATE_HZ) < 0.005


def test_what_comes_later_does_not_hide_what_was_before() -> None:
    """A click 30 ms before an attack is as good as alone; 4 ms before it is still found."""
    alone, attack = np.zeros((RATE_HZ, 1)), np.zeros((RATE_HZ, 1))
    attack[20_000:] = noise(1.0)[20_000:]
    found = []
    for music, before in ((alone, 1323), (attack, 1323), (attack, 176)):
        second = music.copy()
        second[20_000 - before] += 0.1
        found.append(worst(of(music, second)))
    assert abs(found[0] - found[1]) < 0.5
    assert found[2] > WILL_DB


def test_what_was_before_hides_for_a_fifth_of_a_second() -> None:
    music = np.zeros((RATE_HZ, 1))
    music[:11_000] = noise(1.0)[:11_000]
    found = []
    for after in (220, 880, 2640, 9900, 22_000):
        second = music.copy()
        second[11_000 + after] += 0.01
        found.append(worst(of(music, second)))
    assert found[0] < found[1] < found[2] < found[3] - 0.5
    assert abs(found[3] - found[4]) < 0.5


def test_a_hole_is_not_hidden_by_what_should_have_been_there() -> None:
    """Both orders of the pair are told the same."""
    music = noise(2.0)
    holed = music.copy()
    holed[40_000:40_441] = 0.0
    assert worst(of(music, holed)) > WILL_DB
    assert of(music, holed) == of(holed, music)


def test_the_level_at_the_ear_is_what_counts() -> None:
    music = noise(1.0)
    second = music.copy()
    second[20_000] += 0.3
    louder = EventMeter(RATE_HZ, 1, SPL_DB - 20.0, room_dba=ROOM_DBA)
    louder.add(10.0 * music, 10.0 * second, 10.0 * (second - music))
    assert abs(worst(louder.account()) - worst(of(music, second))) < 1e-9


@pytest.mark.parametrize("place", [3000, 30_000, 86_000])
def test_there_is_an_event_exactly_where_the_limit_is_passed(place: int) -> None:
    """Of one frame, or of many that come to it together only: noise of 0.15 s, rising."""
    music, burst = noise(2.0), noise(2.0, 6)
    late = np.arange(len(music))[:, None]
    burst = np.where((late >= place) & (late < place + 6600), burst, 0.0)
    told = set()
    for size in 10.0 ** np.arange(-1.0, 0.5, 0.1):
        found = of(music, music + size * burst)
        told.add(found.count)
        assert (found.count >= 1) == (worst(found) >= MAY_DB)
        assert all(place - 220 <= at * RATE_HZ < place + 6800 for at in found.at_s)
    assert told >= {0, 1}


def test_a_larger_click_exceeds_by_more() -> None:
    music = noise(1.0)
    found = []
    for size in (0.1, 0.3, 1.0, 3.0):
        second = music.copy()
        second[20_000] += size
        found.append(worst(of(music, second)))
    assert np.all(np.diff(found) > 5.0)


def test_what_is_there_all_the_time_is_no_event() -> None:
    """Hiss far over threshold, and every cycle bent; a burst of the same is one."""
    late = np.arange(6 * RATE_HZ)[:, None] / RATE_HZ
    chord = sum(0.1 * np.sin(2.0 * np.pi * hz * late) for hz in (220.0, 277.2, 329.6))
    assert isinstance(chord, np.ndarray)
    fading = np.minimum(1.0, np.minimum(late, late[::-1]) / 0.5)
    for worse in (noise(6.0, 3, 3e-3), 2.0 * chord**3):
        assert of(chord, chord + fading * worse).count == 0
        burst = np.where((late > 3.0) & (late < 3.2), worse, 0.0)
        assert of(chord, chord + burst).count >= 1


def test_a_direct_voltage_is_no_event_but_its_step_is() -> None:
    late = np.arange(4 * RATE_HZ)[:, None] / RATE_HZ
    music = noise(4.0, level=0.001)
    ramp = 0.15 * np.minimum(1.0, np.minimum(late, late[::-1]) / 0.5)
    assert worst(of(music, music + ramp)) == -math.inf
    found = of(music, music + 0.15 * (late >= 2.0))
    assert abs(found.at_s[0] - 2.0) < 0.005
    assert worst(found) > WILL_DB


def test_a_direct_voltage_hides_nothing() -> None:
    music, clicked = noise(2.0, level=0.001), noise(2.0, level=0.001)
    clicked[[30_000, 60_000]] += 0.003
    raised = of(music + 0.3, clicked + 0.3)
    assert abs(worst(raised) - worst(of(music, clicked))) < 0.01


def test_of_several_remainders_the_least_counts() -> None:
    """One filter rings, the plain gain leaves what is linear; a click is in all of them."""
    music, ringing = noise(3.0), noise(3.0, 4, 0.1)
    ringing[:60_000] = ringing[70_000:] = 0.0
    taps = np.zeros((1, 129))
    taps[0, [64, 70]] = 1.0, 0.4
    second = np.convolve(music[:, 0], taps[0], "same")[:, None]

    def found(first: Array, other: Array, left: Array, taps: Array | None) -> float:
        return worst(of(first, other, left=left, taps=taps))

    assert found(music, music, ringing, None) == -math.inf
    assert found(music, second, 0.0 * music, None) == -math.inf
    assert found(music, second, ringing, None) > MAY_DB
    assert found(music, second, ringing, taps) < 0.0
    second[66_000] += 0.8
    ringing[66_000] += 0.8
    assert found(music, second, ringing, taps) > MAY_DB


def test_silence_and_nothing_are_told_as_such() -> None:
    assert EventMeter(48000, 2, 100.0).account() == EventAccount(-math.inf)
    silence = np.zeros((100, 1))
    assert of(silence, silence).as_json()["worst_db"] is None


@pytest.mark.parametrize("rate_hz", [22050, 96000, 192000])
def test_other_rates_tell_the_same(rate_hz: int) -> None:
    """A click of the same pressure and 0.1 ms, in silence."""
    found = []
    for rate in (rate_hz, 48000):
        second = np.zeros((rate // 2, 1))
        second[rate // 5 : rate // 5 + round(1e-4 * rate)] = 0.01 * rate * 1e-4 / round(1e-4 * rate)
        found.append(worst(excess_of(0.0 * second, second, rate, SPL_DB)))
    assert abs(found[0] - found[1]) < 1.5


def test_doubled_samples_are_told_from_a_clean_edit() -> None:
    """64 frames played twice, a loud place: the step between them, over a crossfade of 5 ms."""
    music = passage("trio")
    at = loudest(music)
    heard = np.concatenate([music[at - 2205 : at], music[at - 64 : at + 2141]])
    fade = np.clip((np.arange(len(heard)) - 2205 + 110) / 220.0, 0.0, 1.0)[:, None]
    later = music[at - 2205 - 64 : at - 2205 - 64 + len(heard)]
    clean = (1.0 - fade) * music[at - 2205 :][: len(heard)] + fade * later
    assert worst(excess_of(clean, clean, RATE_HZ, 105.0, room_dba=ROOM_DBA)) == -math.inf
    assert worst(excess_of(clean, heard, RATE_HZ, 105.0, room_dba=ROOM_DBA)) > MAY_DB


@pytest.mark.parametrize(
    ("name", "setting"), in_turn(PIECES, [(10.0, 65.0), (10.0, 85.0), (10.0, 95.0), (28.0, 85.0)])
)
def test_what_nobody_tells_apart_stays_below(name: str, setting: tuple[float, float]) -> None:
    """Dither of 16 bits, and 320 kbit/s, which trained listeners took for the original (Pras and
    others, AES Convention 127, 2009, paper 7879; from memory).  Longer music has a greater maximum.
    """
    seconds, listening_db = setting
    music = passage(name, seconds)
    chance = np.random.default_rng(5)
    dithered = np.round(32768.0 * music + chance.random(music.shape) - chance.random(music.shape))
    file = io.BytesIO()
    with sf.SoundFile(
        file, "w", RATE_HZ, 2, format="MP3", subtype="MPEG_LAYER_III",
        bitrate_mode="CONSTANT", compression_level=0.0,
    ) as coding:  # fmt: skip
        coding.write(music)
    file.seek(0)
    coded, _ = sf.read(file, always_2d=True)
    for second in (dithered / 32768.0, coded):
        found = compared(music, second, listening_db)
        assert found.count == 0
        assert worst(found) < MAY_DB - MARGIN_DB


@pytest.mark.parametrize(("name", "listening_db"), in_turn(PIECES, [65.0, 85.0, 95.0]))
def test_what_is_plainly_heard_is_found(name: str, listening_db: float) -> None:
    """Clicks, a dropout in a loud place, bursts clipped by 6 dB: common practice."""
    music, at = passage(name), 0
    at = loudest(music)
    places = np.linspace(0.06, 0.94, 8) * len(music)
    clicked, short, long, clipped = (music.copy() for _ in range(4))
    clicked[places.astype(int)] += 0.5
    short[at + 300 : at + 741] = 0.0
    long[at + 300 : at + 4710] = 0.0
    for start in np.array([at, at + 3 * RATE_HZ, at + 6 * RATE_HZ]) % (len(music) - RATE_HZ):
        burst = clipped[start : start + RATE_HZ // 5]
        half = 0.5 * float(np.abs(burst).max())
        np.clip(burst, -half, half, out=burst)
    found = compared(music, clicked, listening_db)
    assert found.count == 8
    assert worst(found) > WILL_DB
    assert worst(compared(music, short, listening_db)) > MAY_DB
    assert worst(compared(music, long, listening_db)) > WILL_DB
    assert worst(compared(music, clipped, listening_db)) > WILL_DB
