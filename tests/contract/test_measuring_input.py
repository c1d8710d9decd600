"""Recordings that cannot be measured are refused, and doubtful ones are remarked on first."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from stagefx.bench.errors import MeasuringError
from stagefx.bench.measure.analysis import measure_signal
from stagefx.bench.measure.files import measure_files
from stagefx.bench.measure.measurement import Measurement, merged
from stagefx.bench.measure.remarks import clipped_by_recorder
from stagefx.bench.measure.saved import load_measurement
from stagefx.bench.measure.whole import measure
from stagefx.bench.signals.plan import signal_named
from stagefx.io.recording import HeldAudio

Array = NDArray[np.float64]
RATE = 48000
LEVEL = signal_named("01-level-1khz", RATE)
PLAYED = LEVEL.samples()


def held(samples: Array, rate_hz: int = RATE) -> HeldAudio:
    return HeldAudio(np.ascontiguousarray(samples), rate_hz, place="take.wav")


def refused(samples: Array, match: str, *, rate_hz: int = RATE, name: str = LEVEL.name) -> None:
    with pytest.raises(MeasuringError, match=match):
        measure_signal(signal_named(name, RATE), held(samples, rate_hz))


def test_silence_is_refused() -> None:
    refused(np.zeros_like(PLAYED), "take.wav is silent; check the input")


def test_another_rate_is_refused_with_both_remedies() -> None:
    refused(PLAYED, "record at 48000 Hz, or make signals with --rate 44100", rate_hz=44100)


def test_a_take_played_at_another_speed_is_refused() -> None:
    # 44.1 kHz taken for 48: everything comes 8.8 % late
    frames = np.arange(round(1.0884 * LEVEL.frames))
    refused(LEVEL.wave(frames / (1.0884 * RATE)), "marker")


def test_something_else_is_refused() -> None:
    noise = 0.1 * np.random.default_rng(1).standard_normal(PLAYED.shape)
    refused(noise, "holds no marker of 01-level-1khz; record while")


def test_a_take_that_ends_early_is_refused() -> None:
    refused(PLAYED[: 5 * RATE], "5 s long, too short for 01-level-1khz")


def test_a_take_that_begins_late_is_refused() -> None:
    late = np.concatenate([PLAYED[RATE:], np.zeros((3 * RATE, 2))])
    refused(late, "holds only one marker of 01-level-1khz where there should be two")


@pytest.mark.parametrize("frames", [1, 100])
def test_a_scrap_is_refused(frames: int) -> None:
    refused(np.full((frames, 2), 0.1), "too short for 01-level-1khz")


@pytest.mark.parametrize(
    ("played", "recorded"),
    [
        ("12-left-only", "13-right-only"),
        ("05-two-tone-60hz-7khz", "07-two-tone-8-11950hz"),
        ("06-two-tone-19-20khz", "08-dim-30"),
    ],
)
def test_the_recording_of_another_signal_is_named(played: str, recorded: str) -> None:
    refused(
        signal_named(recorded, RATE).samples(),
        f"a recording of {recorded}, not of {played}; give the recording that belongs",
        name=played,
    )


def test_many_channels_are_refused() -> None:
    refused(np.hstack([PLAYED, PLAYED]), "4 channels; record the left and the right one only")


def test_a_channel_that_is_not_there_is_refused() -> None:
    with pytest.raises(MeasuringError, match="no right channel; record both"):
        measure_signal(LEVEL, held(PLAYED[:, :1]), channel=1)


def test_what_is_no_test_signal_is_refused() -> None:
    music = held(0.5 * PLAYED)
    with pytest.raises(MeasuringError, match="no test signal, or was changed; give the file as"):
        measure(music, held(PLAYED))


def test_a_signal_is_known_by_its_content_whatever_its_name() -> None:
    found = measure(HeldAudio(PLAYED, RATE, place="copy of something.wav"), held(PLAYED))
    assert found.signals == ("01-level-1khz",)


@pytest.mark.parametrize("volts", [0.0, -1.0, float("nan"), float("inf")])
def test_impossible_volts_are_refused(volts: float) -> None:
    with pytest.raises(MeasuringError, match="cannot be; give the rms volts"):
        measure(held(PLAYED), held(PLAYED), captured_full_scale_v=volts)


def remark(samples: Array, name: str = LEVEL.name) -> str:
    found = measure_signal(signal_named(name, RATE), held(samples))
    return found.remarks[0] if found.remarks else ""


def test_a_good_take_is_not_remarked_on() -> None:
    assert remark(0.7 * PLAYED) == ""


def test_a_take_that_the_recorder_clipped_is_remarked_on_first() -> None:
    assert "clipped by the recorder itself" in remark((6.0 * PLAYED).clip(-1.0, 1.0))


def test_a_recorder_of_whole_steps_is_seen_to_run_out_of_them() -> None:
    # the top step comes again and again, but a sine that just reaches it touches it once a time
    turns = 2.0 * np.pi * 997.0 * np.arange(RATE) / RATE
    top = 1.0 - 2.0**-23
    assert clipped_by_recorder((1.05 * np.sin(turns)).clip(-1.0, top), whole_steps=True)
    assert not clipped_by_recorder(top * np.sin(turns), whole_steps=True)
    assert not clipped_by_recorder((1.05 * np.sin(turns)).clip(-0.8, 0.8), whole_steps=True)


def test_a_stage_that_clips_is_not_taken_for_the_recorder() -> None:
    signal = signal_named("10-clipping-ramp", RATE)
    noise = 1e-5 * np.random.default_rng(1).standard_normal((signal.frames, 2))
    assert remark(signal.samples().clip(-0.5, 0.5) + noise, signal.name) == ""


def test_a_faint_take_is_remarked_on() -> None:
    assert "peaks at -52 dBFS: turn the input up" in remark(0.01 * PLAYED)


def test_one_channel_is_remarked_on_and_gives_no_balance() -> None:
    found = measure_signal(LEVEL, held(PLAYED[:, :1]))
    assert "balance and crosstalk cannot be told" in found.remarks[0]
    assert found.balance_db is None
    assert found.as_json()["balance_db"] == {"value": None, "reason": "not measured"}


def test_a_clock_that_no_crystal_has_is_remarked_on() -> None:
    frames = np.arange(LEVEL.frames + 1000)
    assert "ppm off, more than two crystals do" in remark(LEVEL.wave(frames / (1.0004 * RATE)))


@pytest.mark.parametrize("at_s", [1.0, 3.1])
def test_a_lost_frame_is_remarked_on(at_s: float) -> None:
    assert "frames were lost or repeated" in remark(np.delete(PLAYED, round(at_s * RATE), axis=0))


def test_gain_that_follows_the_level_is_remarked_on() -> None:
    signal = signal_named("04-levels-997hz", RATE)
    samples = signal.samples()
    slow = np.sqrt(np.convolve(np.square(samples[:, 0]), np.ones(4800) / 4800, mode="same"))
    levelled = samples / np.sqrt(slow + 1e-3)[:, None] * 0.3
    assert "gain changes with level" in remark(levelled, signal.name)


def test_swapped_channels_are_remarked_on_and_give_no_crosstalk() -> None:
    signal = signal_named("12-left-only", RATE)
    found = measure_signal(signal, held(signal.samples()[:, ::-1]))
    assert "left and right are swapped" in found.remarks[0]
    assert found.crosstalk == ()


def test_measurements_of_different_rates_are_not_put_together() -> None:
    parts = [Measurement("bench measure", rate) for rate in (44100, 48000)]
    with pytest.raises(MeasuringError, match="different sampling rates or channels"):
        merged(parts)
    with pytest.raises(MeasuringError, match="nothing to put together"):
        merged([])


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", "not json", '{"made_by": 3}', '{"made_by": "x", "levels": [1]}']
)
def test_a_file_that_is_no_measurement_is_refused(text: str, tmp_path: Path) -> None:
    place = tmp_path / "m.json"
    place.write_text(text)
    with pytest.raises(MeasuringError, match="is no measurement; give a JSON file"):
        load_measurement(place)


def test_a_measurement_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(MeasuringError, match="cannot be read"):
        load_measurement(tmp_path / "none.json")


def test_unknown_keys_of_a_later_version_are_left_alone(tmp_path: Path) -> None:
    place = tmp_path / "m.json"
    place.write_text(json.dumps({**Measurement("bench expect", RATE).as_json(), "more": 1}))
    assert load_measurement(place) == Measurement("bench expect", RATE)


def test_a_file_beside_a_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(MeasuringError, match="PLAYED is a folder and CAPTURED a file"):
        measure_files(tmp_path, tmp_path / "take.wav")


def test_folders_that_do_not_belong_together_are_refused(tmp_path: Path) -> None:
    with pytest.raises(MeasuringError, match="holds no recording named like a signal"):
        measure_files(tmp_path, tmp_path)
