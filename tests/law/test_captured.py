"""Faults of an instrument are found where they are, and nowhere else; gaps show noise and hum."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from scipy.signal import firwin, lfilter

from stagefx.difference.captured.gap_noise import _silences, gap_noise
from stagefx.difference.captured.instrument_faults import capture_faults
from stagefx.difference.captured.recordings import take_apart_captured
from stagefx.difference.decomposition import take_apart
from stagefx.io.recording import HeldAudio
from tests.band_limited import RATE_HZ, sound
from tests.played import song

Array = NDArray[np.float64]
GAP = slice(round(1.5 * RATE_HZ), round(2.5 * RATE_HZ))


def made_music() -> Array:
    music = 0.5 * song(4 * RATE_HZ, 2, seed=1)
    music[GAP] = 0.0
    return music


MUSIC = made_music()


def recorded(music: Array = MUSIC, *, noise_db: float = -90.0, seed: int = 1) -> Array:
    """Through a converter: gain, the noise of a good instrument, 24 bits."""
    random = np.random.default_rng(seed)
    noise = np.sqrt(0.5) * 10.0 ** (noise_db / 20.0) * random.standard_normal(music.shape)
    return np.round((0.8 * music + noise) * 2.0**23) / 2.0**23


def held(samples: Array) -> HeldAudio:
    return HeldAudio(np.ascontiguousarray(samples), RATE_HZ)


def faults(second: Array, first: Array = MUSIC) -> list[str]:
    one, other = held(first), held(second)
    return [fault.code for fault in capture_faults(one, other, take_apart(one, other))]


def test_a_clean_recording_has_no_fault() -> None:
    assert faults(recorded()) == []


@pytest.mark.parametrize("piece", ["drums", "trio", "voice"])
def test_clean_recordings_of_the_samples_have_no_fault(piece: str) -> None:
    place = Path(__file__).parents[2] / "samples" / "music" / f"{piece}.flac"
    samples, rate_hz = soundfile.read(place, stop=5 * 44100)
    one, other = HeldAudio(samples, rate_hz), HeldAudio(recorded(samples), rate_hz)
    assert take_apart_captured(one, other).faults == ()


def test_a_capture_that_clips_is_found_and_a_master_that_does_is_not() -> None:
    peak = 0.5 * np.abs(MUSIC).max()
    assert faults(np.clip(recorded(), -peak, peak)) == ["clipped-capture"]
    flat = np.clip(MUSIC, -peak, peak)
    assert faults(flat.copy(), flat) == []


def test_a_stage_that_clips_is_no_fault_of_the_instrument() -> None:
    peak = 0.5 * np.abs(MUSIC).max()
    assert faults(recorded(np.clip(MUSIC, -peak, peak))) == []


def test_automatic_gain_is_found() -> None:
    moving = 10.0 ** (np.linspace(0.0, 0.6, len(MUSIC)) / 20.0)
    assert faults(recorded(MUSIC * moving[:, None])) == ["automatic-gain"]


def test_a_dull_stage_is_no_automatic_gain() -> None:
    assert faults(recorded(lfilter([0.3], [1.0, -0.7], MUSIC, axis=0))) == []


@pytest.mark.parametrize(("channel", "name"), [(0, "left"), (1, "right")])
def test_a_dead_channel_is_found(channel: int, name: str) -> None:
    second = recorded()
    second[:, channel] = 1e-5 * np.random.default_rng(2).standard_normal(len(second))
    one, other = held(MUSIC), held(second)
    found = capture_faults(one, other, take_apart(one, other))
    assert [fault.code for fault in found] == ["dead-channel"]
    assert f"the {name} channel" in found[0].sentence


def test_exchanged_channels_are_found() -> None:
    assert "channels-exchanged" in faults(recorded()[:, ::-1])


@pytest.mark.parametrize(("channel", "name"), [(0, "left"), (1, "right")])
def test_one_inverted_channel_is_found(channel: int, name: str) -> None:
    first = MUSIC * np.array([1.0, 0.3])
    second = recorded(first)
    second[:, channel] *= -1.0
    one, other = held(first), held(second)
    found = capture_faults(one, other, take_apart(one, other))
    assert [fault.code for fault in found] == ["channel-inverted"]
    assert f"the {name} channel" in found[0].sentence


def test_an_inverting_stage_is_no_fault() -> None:
    assert faults(-recorded()) == []


@pytest.mark.parametrize(
    ("ppm", "code"),
    [(200.0, []), (-200.0, []), (600.0, ["clock-off"]), (-4e4, ["clock-off"])],
)
def test_a_clock_that_is_off_is_a_fault(ppm: float, code: list[str]) -> None:
    """Quartz clocks keep within 100 ppm (common practice), two of them within 200."""
    one, other = held(MUSIC), held(recorded())
    found = take_apart(one, other)
    found = replace(found, alignment=replace(found.alignment, drift_ppm=ppm))
    assert [fault.code for fault in capture_faults(one, other, found)] == code


def test_dropped_samples_are_found() -> None:
    first, at = sound(16.0, channels=1), 9 * RATE_HZ
    one, other = held(first), held(np.delete(first, slice(at, at + 37), axis=0))
    found = capture_faults(one, other, take_apart(one, other))
    assert [fault.code for fault in found] == ["dropped-samples"]
    assert found[0].at_s == pytest.approx(9.0, abs=0.01)


def test_a_path_at_another_rate_is_found() -> None:
    """What a conversion to 32 kHz and back leaves: nothing from 16 kHz on."""
    taps = firwin(511, 15.5e3, fs=RATE_HZ, window=("kaiser", 10.0))
    wide = MUSIC + 1e-4 * np.random.default_rng(3).standard_normal(MUSIC.shape)
    narrow = lfilter(taps, 1.0, wide, axis=0)[255:]
    assert faults(narrow, wide[: len(narrow)]) == ["rate-conversion"]


def test_noise_in_the_gap_is_found_at_its_level() -> None:
    one, other = held(MUSIC), held(recorded(noise_db=-70.0))
    found = gap_noise(one, other, take_apart(one, other))
    assert found.first is not None
    assert found.second is not None
    assert found.first.level_dbfs == -np.inf
    in_band = 10.0 * np.log10(20.0 / 24.0)
    assert found.second.level_dbfs == pytest.approx(-70.0 + in_band, abs=0.3)
    by_band = 10.0 * np.log10(sum(10.0 ** (level / 10.0) for level in found.second.bands_dbfs))
    assert by_band == pytest.approx(-70.0 + 10.0 * np.log10(22.387 / 24.0), abs=0.3)
    assert found.second.mains_hz is None
    assert found.seconds == pytest.approx(0.85, abs=0.05)


def test_silences_are_cut_where_they_begin_and_end() -> None:
    """Steps of 20 ms, the first 0.15 s left out, in a passage that begins somewhere."""
    start = RATE_HZ // 2 + 7
    one, other = held(MUSIC), held(recorded())
    found = take_apart(one, other, start=start)
    step = RATE_HZ // 50
    steps = MUSIC[start:][: len(found.step_powers) * step].reshape(-1, step, 2)
    # of two, the quieter: within what the recorder adds
    powers = np.square(steps).mean(axis=1).max(axis=1)
    np.testing.assert_allclose(found.step_powers, powers, rtol=1e-3)
    assert (found.step_powers <= powers).all()
    ((begin, end),) = _silences(found, RATE_HZ)
    assert (begin - start) % step == (end - start) % step == 0
    assert 0.15 * RATE_HZ <= begin - GAP.start <= 0.15 * RATE_HZ + 2 * step
    assert abs(GAP.stop - end) < 2 * step  # the music comes in softly


def test_without_a_gap_it_says_why() -> None:
    whole = held(
        0.5 * song(3 * RATE_HZ, 1, seed=5) + 0.01 * np.sin(np.arange(3 * RATE_HZ))[:, None]
    )
    found = gap_noise(whole, whole, take_apart(whole, whole))
    assert found.second is None
    assert "no silence" in found.as_json()["reason"]


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_hum_is_found_with_its_family(mains_hz: int) -> None:
    seconds = np.arange(len(MUSIC)) / RATE_HZ
    hum = sum(
        10.0 ** (level / 20.0) * np.sin(2.0 * np.pi * number * mains_hz * seconds)
        for number, level in ((1, -70.0), (2, -80.0), (3, -75.0))
    )
    one, other = held(MUSIC), held(recorded() + np.asarray(hum)[:, None])
    captured = take_apart_captured(one, other)
    noise = captured.gap.second
    assert noise is not None
    assert noise.mains_hz == mains_hz
    assert {round(line.hz / mains_hz): round(line.dbfs) for line in noise.hum} == {
        1: -70,
        2: -80,
        3: -75,
    }
    assert [fault.code for fault in captured.faults] == ["mains-hum"]
    assert "never lift the mains earth" in captured.faults[0].sentence


def test_a_repeat_gives_every_row_its_floor() -> None:
    first, second, again = (recorded(noise_db=-86.0, seed=seed) for seed in (1, 2, 3))
    found = take_apart_captured(held(first), held(second), repeat=held(again))
    assert found.floor is not None
    assert found.floor.basis == "A against a repeat of A"
    assert found.floor.remainder_db == pytest.approx(found.difference.remainder_db, abs=0.3)
    assert found.floor.group_delay_s is not None
    assert found.floor.group_delay_s > 0.0
    assert found.floor.noise_dbfs[17] is not None
    assert found.as_json()["floor"]["basis"] == found.floor.basis
    louder = take_apart_captured(held(first), held(second), repeat=held(1.01 * first)).floor
    assert louder is not None
    assert louder.level_db == pytest.approx(20.0 * np.log10(1.01), abs=1e-6)
    without = take_apart_captured(held(first), held(second), loopback=held(again))
    assert without.floor is not None
    assert without.floor.basis == "the loopback"
