"""What each effect changes, alone and left out: against closed forms, and against plain arrays."""

from __future__ import annotations

import math
import tracemalloc
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.io.files import open_audio
from stagefx.render.attribution import Attribution, Contribution, attribute
from stagefx.render.preparation import prepare
from tests.played import Audio, in_decibels, song

RATE_HZ = 48000
FOLLOWER: dict[str, Any] = {
    "name": "trial",
    "source": {"level": "1 V rms"},
    "amplifier": {"topology": "follower", "slew_rise": "9 V/us", "slew_fall": "9 V/us"},
}


def tone(hz: float = 1000.0, *, peak: float = 0.5, seconds: float = 4.0) -> Audio:
    sine = peak * np.sin(2.0 * np.pi * hz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)
    return np.stack((sine, sine), axis=1)


def found_in(folder: Path, stage: Stage, audio: Audio, **options: Any) -> Attribution:
    soundfile.write(folder / "in.wav", audio, RATE_HZ, subtype="DOUBLE")
    return attribute(stage, folder / "in.wav", **options)


def row(found: Attribution, effect: str) -> Contribution:
    return next(each for each in found.contributions if each.effect == effect)


def test_hum_leaves_its_level_over_the_music_s(tmp_path: Path) -> None:
    """1 mV rms under a sine of 0.5 V rms: 20 log 1/500, and the same wherever one looks."""
    hum = {"hum": {"level": "1 mV rms", "frequency": "50 Hz"}}
    found = row(found_in(tmp_path, stage_from(FOLLOWER | hum), tone()), "hum")
    expected = 20.0 * math.log10(1e-3 / 0.5)
    assert (found.alone_db, found.left_out_db, found.loudest_db) == pytest.approx(
        (expected,) * 3, abs=0.01
    )


@pytest.mark.parametrize("hz", [100.0, 5000.0, 15000.0])
def test_a_pole_leaves_how_far_it_turns_and_shrinks_a_tone(tmp_path: Path, hz: float) -> None:
    """|H(f)/|H(1 kHz)| - 1| of 1 kohm and 2 nF; the sines of either end are of no weight."""
    stage = stage_from(
        {"source": {"level": "1 V rms", "resistance": "1 kohm"}, "load": {"capacitance": "2 nF"}}
    )
    found = row(found_in(tmp_path, stage, tone(hz), only=["loading"]), "loading")
    corner_hz = 1.0 / (2.0 * math.pi * 1e3 * 2e-9)
    at, at_1k = (1.0 / (1.0 + 1j * f / corner_hz) for f in (hz, 1000.0))
    expected = in_decibels(at / abs(at_1k) - 1.0)
    assert found.alone_db == pytest.approx(expected, abs=0.02)
    assert found.left_out_db == pytest.approx(expected, abs=0.02)


def hit(at_s: float) -> Audio:
    """A quiet tone with a fifth of a second, of whole periods, three volts high."""
    audio = tone(peak=0.01, seconds=6.0)
    start = round(at_s * RATE_HZ)
    audio[start : start + RATE_HZ // 5] *= 300.0 / math.sqrt(2.0)
    return audio


@pytest.mark.parametrize("at_s", [0.1, 2.15, 5.7])
def test_where_most_of_it_is_is_where_it_clips(tmp_path: Path, at_s: float) -> None:
    """A sine of 3 V held at 1.5 V: what is cut off is 1/2 + 3/8 ... of it, in closed form."""
    device = {"swing_loss_high": "0 V", "swing_loss_low": "0 V"}
    stage = stage_from(
        FOLLOWER
        | {"amplifier": FOLLOWER["amplifier"] | device}
        | {"supply": {"positive": "1.5 V", "negative": "-1.5 V"}}
    )
    audio = hit(at_s)
    found = row(found_in(tmp_path, stage, audio, only=["clip"]), "clip")
    assert found.loudest_s is not None
    assert at_s - 0.4 < found.loudest_s < at_s + 0.2
    # (sin x - 1/2)^2 over the crests of a period, in units of the sine's mean square of 1/2
    start = math.asin(0.5)
    cut = 2.0 * (
        0.75 * (math.pi - 2.0 * start) + math.sin(2.0 * start) / 2.0 - 2.0 * math.cos(start)
    )
    share = cut / (2.0 * math.pi) / 0.5
    music = np.square(audio).sum() / 2.0
    sine = 0.2 * RATE_HZ * (3.0 / math.sqrt(2.0)) ** 2 / 2.0
    assert found.alone_db == pytest.approx(10.0 * math.log10(share * sine / music), abs=0.02)


STAGES = {
    "driven": stage_from(
        {
            "source": {"level": "2 V rms", "resistance": "1 kohm"},
            "input": {"resistance": "47 kohm", "coupling": "1 uF"},
            "amplifier": {
                "device": "early bipolar",
                "feedback_resistance": "10 kohm",
                "gain_resistance": "3.3 kohm",
                "slew_rise": "0.2 V/us",
                "slew_fall": "0.3 V/us",
                "harmonics": ["-60 dB"],
                "harmonics_level": "2 V rms",
            },
            "supply": {"positive": "8 V", "negative": "-8 V"},
            "hum": {"level": "1 mV rms", "frequency": "50 Hz"},
            "crosstalk": {"coupling_capacitance": "10 pF"},
        }
    ),
    "line": load_stage("line-stage"),
}


@pytest.mark.parametrize("name", STAGES)
@pytest.mark.parametrize("times", [{}, {"noise": 20.0}])
def test_levels_are_those_of_whole_pieces_played_one_after_the_other(
    tmp_path: Path, name: str, times: dict[str, float]
) -> None:
    """Each variant played by itself and subtracted as one array."""
    music = song(100_003, 2, seed=3)
    found = found_in(tmp_path, STAGES[name], music, times=times, seed=5)
    with open_audio(tmp_path / "in.wav") as reader:
        played = prepare(STAGES[name], reader, times=times, seed=5)

        def through(keep: frozenset[str]) -> Audio:
            with played.chain(RATE_HZ, 2, keep=keep) as chain:
                return np.concatenate(list(chain.process([music])))

        every = frozenset(each.effect for each in found.contributions)
        assert every == played.keep
        whole, energy = through(every), np.square(music).sum()
        for each in found.contributions:
            alone = np.square(through(frozenset({each.effect})) - music)
            left_out = np.square(whole - through(every - {each.effect}))
            for level_db, residual in ((each.alone_db, alone), (each.left_out_db, left_out)):
                with np.errstate(divide="ignore"):
                    expected = 10.0 * np.log10(residual.sum() / energy)
                assert level_db == pytest.approx(expected, abs=1e-6)
            moments = [alone[k : k + 19200].sum() for k in range(0, len(music), 19200)]
            if each.loudest_s is not None:
                there = moments[round(each.loudest_s / 0.4)]
                assert there == pytest.approx(max(moments), rel=1e-9)
        assert found.together_db == pytest.approx(
            10.0 * np.log10(np.square(whole - music).sum() / energy), abs=1e-6
        )
    levels = [each.alone_db for each in found.contributions]
    assert levels == sorted(levels, reverse=True)


def test_memory_does_not_grow_with_the_music(tmp_path: Path) -> None:
    """Five seconds and twenty-five need the same; twenty of stereo in doubles are 15 MB."""
    peaks = []
    for seconds in (5, 5, 25):
        audio = np.tile(song(5 * RATE_HZ, 2, seed=1), (seconds // 5, 1))
        soundfile.write(tmp_path / "in.wav", audio, RATE_HZ)
        del audio
        tracemalloc.start()
        attribute(STAGES["driven"], tmp_path / "in.wav", only=["slew", "noise"])
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[2] < peaks[1] + 2e6


def test_progress_goes_from_nothing_to_the_end(tmp_path: Path) -> None:
    seen: list[tuple[int, int | None]] = []
    found_in(
        tmp_path, STAGES["line"], tone(), only=["slew"], progress=lambda *step: seen.append(step)
    )
    assert seen == sorted(seen)
    assert seen[-1] == (4 * RATE_HZ, 4 * RATE_HZ)


@pytest.mark.parametrize("frames", [1, 1025])
def test_the_shortest_pieces_have_their_levels(tmp_path: Path, frames: int) -> None:
    found = found_in(tmp_path, STAGES["line"], tone()[:frames] + 0.1)
    assert math.isfinite(row(found, "noise").alone_db)


def test_what_changes_nothing_and_what_silence_hides_have_their_reasons(tmp_path: Path) -> None:
    found = found_in(tmp_path, STAGES["line"], 0.0 * tone()).as_json()
    by_name = {each["effect"]: each for each in found["contributions"]}
    assert by_name["noise"]["alone_db"] == {"value": None, "reason": "the music is silent"}
    assert by_name["clip"]["alone_db"] == {"value": None, "reason": "it changes nothing"}
    assert by_name["clip"]["loudest_s"] == {"value": None, "reason": "it changes nothing"}
