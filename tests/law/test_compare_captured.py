"""Recordings of real stages: measured, over the recorder's own floor."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from stagefx.audition.captured import NO_FLOOR, compare_captured
from stagefx.audition.shortcuts import compare_recordings
from stagefx.hearing.grades import Grade
from stagefx.hearing.rows.difference import NOT_FROM_MUSIC
from stagefx.io.recording import HeldAudio
from tests.band_limited import RATE_HZ, sound
from tests.played import song

Array = NDArray[np.float64]
GAP = slice(round(2.5 * RATE_HZ), round(3.5 * RATE_HZ))


def music() -> Array:
    made = 0.5 * song(6 * RATE_HZ, 2, seed=1)
    made[GAP] = 0.0
    return made


MUSIC = music()
PEAK = 0.5 * float(np.abs(MUSIC).max())


def noise(level_dbfs: float, seed: int) -> Array:
    """White up to half the sampling rate, re a full-scale sine."""
    random = np.random.default_rng(seed)
    return np.sqrt(0.5) * 10.0 ** (level_dbfs / 20.0) * random.standard_normal(MUSIC.shape)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("takes")
    takes = {
        "played": MUSIC,
        "first": 0.8 * MUSIC + noise(-115.0, 1),
        "again": 0.8 * MUSIC + noise(-115.0, 2),
        "second": 0.7992 * MUSIC + noise(-115.0, 3),
        "loud": 0.78 * MUSIC + noise(-115.0, 4),
        "clipped": np.clip(0.8 * MUSIC, -PEAK, PEAK),
        "hissing": 0.8 * MUSIC + noise(-80.0, 1),
        "hissing-again": 0.8 * MUSIC + noise(-80.0, 2),
        "hissing-second": 0.7992 * MUSIC + noise(-80.0, 3),
    }
    for name, samples in takes.items():
        soundfile.write(place / f"{name}.wav", samples, RATE_HZ, subtype="PCM_24")
    return place


def test_what_the_recorder_does_itself_is_the_floor(folder: Path) -> None:
    found = compare_captured(
        folder / "first.wav", folder / "second.wav", repeat=folder / "again.wav",
        level_by="nothing",
    )  # fmt: skip
    rows = {row.name: row for row in found.audibility}
    assert found.verdict.basis == "measured"
    assert found.verdict.grade in {Grade.BELOW, Grade.SHOULD_NOT}
    # two takes with the same noise: what is left of one is what is left of the other
    assert rows["remainder"].floor == pytest.approx(rows["remainder"].value, abs=2.0)
    assert rows["level"].value == pytest.approx(-20.0 * math.log10(0.7992 / 0.8), abs=2e-3)
    for name in ("level", "balance", "middle", "high end", "remainder", "noise", "ear model"):
        assert rows[name].floor is not None, name
    assert NO_FLOOR not in found.remarks


def test_a_recorder_that_hisses_is_not_taken_for_a_difference(folder: Path) -> None:
    takes = (folder / f"hissing{which}.wav" for which in ("", "-second", "-again"))
    first, second, repeat = takes
    found = compare_captured(first, second, repeat=repeat)
    rows = {row.name: row for row in found.audibility}
    # its own hiss lies some 30 dB over the threshold of hearing: nobody can say what a stage adds
    assert found.verdict.grade is Grade.MAY
    assert "not measured finely enough" in found.verdict.sentence
    for name in ("noise", "ear model"):
        floor, value = rows[name].floor, rows[name].value
        assert floor is not None
        assert value is not None
        assert value < floor, name


def test_without_a_repeat_it_is_said_that_nothing_is_known_of_the_recorder(folder: Path) -> None:
    found = compare_captured(folder / "first.wav", folder / "loud.wav", level_by="nothing")
    assert NO_FLOOR in found.remarks
    assert found.captured is not None
    assert found.captured.floor is None
    assert found.verdict.grade.rank >= Grade.MAY.rank  # 0.22 dB


def test_a_floor_over_the_limit_is_not_called_unheard(folder: Path) -> None:
    found = compare_captured(
        folder / "first.wav", folder / "second.wav", repeat=folder / "loud.wav",
        level_by="nothing",
    )  # fmt: skip
    rows = {row.name: row for row in found.audibility}
    assert rows["level"].floor == pytest.approx(20.0 * math.log10(0.8 / 0.78), abs=0.02)
    assert rows["level"].grade is Grade.MAY
    assert "not measured finely enough" in found.verdict.sentence


def test_the_recorder_s_level_is_corrected_and_said(folder: Path) -> None:
    found = compare_captured(folder / "first.wav", folder / "loud.wav", repeat=folder / "again.wav")
    rows = {row.name: row for row in found.audibility}
    assert rows["level"].value == pytest.approx(0.0, abs=2e-3)
    assert found.verdict.grade in {Grade.BELOW, Grade.SHOULD_NOT}
    (said,) = [remark for remark in found.remarks if "recorder's own level" in remark]
    assert f"{20.0 * math.log10(0.8 / 0.78):.2f} dB softer" in said
    assert "--level-by nothing keeps it" in said
    kept = compare_captured(folder / "first.wav", folder / "loud.wav", level_by="nothing")
    assert not [remark for remark in kept.remarks if "recorder's own level" in remark]


def test_a_repeat_at_another_level_is_corrected_as_well(folder: Path) -> None:
    found = compare_captured(
        folder / "first.wav", folder / "second.wav", repeat=folder / "loud.wav"
    )
    rows = {row.name: row for row in found.audibility}
    for name in ("level", "ear model"):
        assert rows[name].floor is not None
        assert rows[name].floor < rows[name].may, name
    assert found.verdict.grade in {Grade.BELOW, Grade.SHOULD_NOT}


def test_an_inverted_recording_is_named_and_not_graded(folder: Path) -> None:
    turned, rate_hz = soundfile.read(folder / "second.wav")
    soundfile.write(folder / "turned.wav", -turned, rate_hz, subtype="PCM_24")
    found = compare_captured(folder / "first.wav", folder / "turned.wav")
    assert found.captured is not None
    assert found.captured.faults == ()
    assert any("polarity of the second recording is inverted" in said for said in found.remarks)


def test_faults_of_the_recorder_are_told(folder: Path) -> None:
    found = compare_captured(folder / "played.wav", folder / "clipped.wav")
    assert found.captured is not None
    assert [fault.code for fault in found.captured.faults] == ["clipped-capture"]
    assert found.as_json()["faults"][0]["code"] == "clipped-capture"


def test_noise_in_the_silences_is_set_against_the_threshold() -> None:
    # white noise at -60 dBFS in two channels; its third octave at 4 kHz has
    # 10 lg(0.2316 x 3981 / 24000) = -14.2 dB of it
    found = compare_recordings(held(MUSIC), held(MUSIC + noise(-60.0, 1)), room_dba=None)
    rows = {row.name: row for row in found.audibility}
    band_hz = 10.0**3.6 * (10.0**0.05 - 10.0**-0.05)
    share = 10.0 * math.log10(band_hz / (RATE_HZ / 2.0)) + 10.0 * math.log10(2.0)
    over = found.level_at_ear.full_scale_spl_db - 60.0 + share + 5.4
    assert rows["noise"].value == pytest.approx(over, abs=1.5)
    assert rows["noise"].grade is Grade.WILL
    assert "of silence" in rows["noise"].remark


def test_hum_in_the_silences_is_found() -> None:
    angle = 2.0 * np.pi * 100.0 * np.arange(len(MUSIC)) / RATE_HZ
    hum = 10.0 ** (-50.0 / 20.0) * np.sin(angle)[:, None]
    found = compare_recordings(held(MUSIC), held(MUSIC + hum + noise(-110.0, 1)), room_dba=None)
    row = {row.name: row for row in found.audibility}["hum"]
    over = found.level_at_ear.full_scale_spl_db - 50.0 + 10.0 * math.log10(2.0) - 26.5
    assert row.value == pytest.approx(over, abs=0.5)
    assert row.at_hz == pytest.approx(100.0)


def test_without_a_silence_noise_is_not_judged_and_the_reason_is_told() -> None:
    steady = sound(3.0)
    rows = {
        row.name: row for row in compare_recordings(held(steady), held(0.99 * steady)).audibility
    }
    for name in ("noise", "hum"):
        assert rows[name].grade is None
        assert "silen" in rows[name].remark or "gap" in rows[name].remark
    for name in ("harmonics", "crosstalk"):
        assert rows[name].grade is None
        assert rows[name].remark == NOT_FROM_MUSIC


def held(samples: Array) -> HeldAudio:
    return HeldAudio(np.ascontiguousarray(samples), RATE_HZ)
