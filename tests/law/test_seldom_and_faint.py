"""Splices, hum under music, and what a quieter room would turn: where they are, and only there."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from stagefx.audition.comparison import Comparison
from stagefx.audition.shortcuts import compare_recordings
from stagefx.hearing.grades import Grade
from stagefx.io.recording import HeldAudio

MUSIC = Path(__file__).parents[2] / "samples" / "music"
AT_S = 5.0


def piece(name: str, seconds: float = 9.0) -> tuple[np.ndarray, int]:
    with soundfile.SoundFile(MUSIC / f"{name}.flac") as file:
        rate_hz = file.samplerate
        file.seek(5 * rate_hz)
        return file.read(round(seconds * rate_hz), always_2d=True), rate_hz


def compared(first: np.ndarray, second: np.ndarray, rate_hz: int) -> Comparison:
    return compare_recordings(HeldAudio(first, rate_hz), HeldAudio(second, rate_hz))


def test_a_hard_splice_is_heard_at_its_edit_and_a_clean_one_less() -> None:
    audio, rate_hz = piece("trio")
    at, frames, fade = round(AT_S * rate_hz), round(0.2 * rate_hz), round(5e-3 * rate_hz)
    hard = np.delete(audio, slice(at, at + frames), axis=0)
    share = (0.5 - 0.5 * np.cos(np.pi * (np.arange(fade) + 0.5) / fade))[:, None]
    clean = hard.copy()
    middle = slice(at - fade // 2, at - fade // 2 + fade)
    later = audio[at + frames - fade // 2 :][:fade]
    clean[middle] = (1.0 - share) * audio[middle] + share * later
    found = compared(audio, hard, rate_hz)
    (edit,) = found.difference.edits
    assert (edit.kind, edit.at_s) == ("cut", pytest.approx(AT_S, abs=1e-3))
    assert found.heard.events.at_s == pytest.approx((AT_S,), abs=2e-3)
    assert (found.heard.events.worst_db or 0.0) > 12.0
    softer = compared(audio, clean, rate_hz).heard.events
    assert (softer.worst_db or 0.0) < (found.heard.events.worst_db or 0.0) - 10.0


@pytest.mark.parametrize(("level_dbfs", "heard"), [(-25.0, True), (-75.0, False)])
def test_hum_is_found_under_music_that_never_pauses(level_dbfs: float, *, heard: bool) -> None:
    rng = np.random.default_rng(3)
    rate_hz, seconds = 44100, 10
    hz = np.fft.rfftfreq(seconds * rate_hz, 1.0 / rate_hz)
    lines = rng.standard_normal((2, hz.size)) + 1j * rng.standard_normal((2, hz.size))
    lines *= (hz > 300.0) & (hz < 8000.0)  # nothing in the critical band about 100 Hz
    music = 0.05 * np.fft.irfft(lines).T / np.fft.irfft(lines).std()
    hum = 10.0 ** (level_dbfs / 20.0) * np.sin(
        2.0 * np.pi * 100.0 * np.arange(len(music)) / rate_hz
    )
    found = compared(music, music + hum[:, None], rate_hz)
    row = {row.name: row for row in found.audibility}["hum"]
    assert row.at_hz == 100.0
    assert row.value is not None
    # a line 50 dB lower stands 50 dB lower over what masks it: threshold and room alone
    assert (row.grade is Grade.WILL) is heard
    full_scale = found.level_at_ear.full_scale_spl_db
    masked = full_scale + level_dbfs + 10.0 * np.log10(2.0) - row.value
    assert 26.0 < masked < 45.0  # ISO 389-7 has 26.5 dB; NR 20, the shape of 30 dBA, some 39


def test_what_a_room_of_30_dba_hides_is_said_of_a_quieter_one() -> None:
    audio, rate_hz = piece("drums")
    audio[4 * rate_hz : 6 * rate_hz] = 0.0
    spl_db = compared(audio, audio, rate_hz).level_at_ear.full_scale_spl_db
    # white, its third octave at 6.3 kHz 1 dB SPL: 7 dB under a room of 30 dBA; at 4 kHz it is 6 dB
    # over the threshold of ISO 389-7, which a room of 15 dBA leaves alone
    share_db = 10.0 * np.log10(10.0**3.8 * (10.0**0.05 - 10.0**-0.05) / (rate_hz / 2.0))
    rms = 10.0 ** ((1.0 - 3.0 - spl_db - share_db) / 20.0) * np.sqrt(0.5)
    hiss = rms * np.random.default_rng(4).standard_normal(audio.shape)
    found = compared(audio, audio + hiss, rate_hz).verdict
    assert found.grade is Grade.SHOULD_NOT
    assert found.quieter_room.startswith("In a room of 15 dBA it ")


def test_without_a_silence_the_ear_alone_says_what_a_quieter_room_would_turn() -> None:
    rng, rate_hz = np.random.default_rng(5), 44100
    seconds = np.arange(12 * rate_hz) / rate_hz
    soft = 10.0 ** (-45.0 / 20.0) * np.sin(2.0 * np.pi * 500.0 * seconds)
    audio = np.where(seconds < 4.0, 0.1 * rng.standard_normal(len(seconds)), soft)[:, None]
    spl_db = compared(audio, audio, rate_hz).level_at_ear.full_scale_spl_db
    share_db = 10.0 * np.log10(10.0**3.8 * (10.0**0.05 - 10.0**-0.05) / (rate_hz / 2.0))
    rms = 10.0 ** ((-4.0 - spl_db - share_db) / 20.0) * np.sqrt(0.5)
    found = compared(audio, audio + rms * rng.standard_normal(audio.shape), rate_hz)
    assert {row.name: row for row in found.audibility}["noise"].grade is None
    assert found.verdict.grade is Grade.SHOULD_NOT
    assert found.verdict.quieter_room == "In a room of 15 dBA it may be heard."


@pytest.mark.parametrize(("rumble_spl_db", "judged"), [(20.0, False), (75.0, True)])
def test_what_nobody_hears_of_the_music_lights_no_row(
    rumble_spl_db: float, *, judged: bool
) -> None:
    """A tone of 40 Hz, whose threshold is 51 dB SPL (ISO 389-7), taken down by 6 dB."""
    rng, rate_hz = np.random.default_rng(6), 44100
    hz = np.fft.rfftfreq(10 * rate_hz, 1.0 / rate_hz)
    lines = rng.standard_normal(hz.size) * ((hz > 150.0) & (hz < 8000.0))
    music = np.fft.irfft(lines)
    music *= 0.1 / music.std()
    spl_db = compared(music[:, None], music[:, None], rate_hz).level_at_ear.full_scale_spl_db
    low = rng.standard_normal(hz.size) * ((hz > 35.0) & (hz < 45.0))
    rumble = np.fft.irfft(low)
    rumble *= 10.0 ** ((rumble_spl_db - spl_db) / 20.0) * np.sqrt(0.5) / rumble.std()
    found = compared((music + rumble)[:, None], (music + 0.5 * rumble)[:, None], rate_hz)
    row = {row.name: row for row in found.audibility}["low end"]
    assert (row.value is not None) is judged
    if judged:
        assert row.value == pytest.approx(6.02, abs=0.1)
