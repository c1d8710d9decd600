"""A survey agrees with renders, does not depend on who does the work, and can be taken up again."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.render.rendering import render_file
from stagefx.survey.asked import Asked
from stagefx.survey.collection import Piece, find_pieces
from stagefx.survey.piece import survey_piece
from stagefx.survey.row import Row
from stagefx.survey.survey import survey_folder
from tests.collections_made import RATE_HZ, collection, lines_of

MUSIC = Path(__file__).parents[2] / "samples" / "music"
HOT = {"level": "20 V rms", "resistance": "100 ohm"}
"""20 dB above an ordinary source, so that something happens."""


def with_source(name: str, source: dict[str, Any]) -> Stage:
    """A ready-made stage behind another source."""
    stage = load_stage(name)
    return stage.model_copy(update={"source": stage_from({"source": source}).source})


def excerpt(folder: Path, piece: str, *, seconds: float = 6.0) -> Piece:
    audio, rate_hz = soundfile.read(MUSIC / f"{piece}.flac", always_2d=True)
    frames = round(seconds * rate_hz)
    soundfile.write(folder / f"{piece}.wav", audio[frames : 2 * frames], rate_hz, subtype="PCM_24")
    (found,) = find_pieces(folder).pieces
    return found


@pytest.mark.parametrize(
    ("stage", "piece"),
    [
        (load_stage("line-stage"), "drums"),
        (load_stage("too-hot"), "trio"),
        (with_source("slow-early", HOT), "voice"),
        (with_source("line-stage-quick", HOT), "drums"),
        (load_stage("passive-control"), "trio"),
    ],
    ids=lambda value: value if isinstance(value, str) else value.name,
)
def test_levels_are_those_that_a_render_reports(stage: Stage, piece: str, tmp_path: Path) -> None:
    """Exactly; slopes are worked out more finely, and a render's are never steeper by 0.1 %."""
    music = excerpt(tmp_path, piece)
    report = render_file(stage, music.place, tmp_path / "out.flac")
    found = survey_piece(music, Asked(stage)).asked
    assert found is not None
    assert found.knob_position == report.knob_position
    assert found.clipped_share == max(report.clipped_share)
    assert found.slewing_share == max(report.slewing_share)
    if report.headroom_db is None:
        assert found.headroom_db is None
        return
    assert report.output_peak_v is not None
    assert report.slope_peak_v_per_us is not None
    assert report.slew_margin is not None
    assert report.slew_available_v_per_us is not None
    assert found.headroom_db == min(report.headroom_db)
    assert found.output_peak_v == max(report.output_peak_v)
    assert found.slope_peak_v_per_us is not None
    assert found.slew_margin is not None
    steeper = found.slope_peak_v_per_us / max(report.slope_peak_v_per_us)
    assert 0.999 <= steeper <= 1.12  # how far a look once a frame may fall short of a crest
    assert found.slew_margin * steeper == pytest.approx(min(report.slew_margin), rel=0.12)
    if found.clipped_share:
        assert found.headroom_db < 0.0


def test_something_does_happen_in_what_was_compared(tmp_path: Path) -> None:
    """So that the agreement above is none of zeros."""
    found = survey_piece(excerpt(tmp_path, "voice"), Asked(with_source("slow-early", HOT))).asked
    assert found is not None
    assert found.clips
    assert found.slews
    assert found.slew_margin is not None
    assert found.slew_margin < 1.0


@pytest.mark.parametrize("hz", [1000.0, 9000.0])
def test_the_slope_of_a_sine_is_two_pi_f_v(hz: float, tmp_path: Path) -> None:
    """A full-level sine is as steep as itself; V by hand: the source's volts times the gain."""
    stage = stage_from(
        {
            "source": {"level": "1 V rms"},
            "supply": {"positive": "15 V", "negative": "-15 V"},
            "amplifier": {"topology": "non-inverting", "gain": 4.0, "slew_rise": "2 V/us",
                          "slew_fall": "1 V/us", "swing_loss_high": "2 V"},
        }
    )  # fmt: skip
    frame = np.arange(2 * RATE_HZ)
    fade = np.minimum(1.0, np.minimum(frame, frame[::-1]) / 8000.0)
    tone = 0.999 * np.sin(2.0 * np.pi * hz * frame / RATE_HZ) * np.sin(0.5 * np.pi * fade) ** 2
    soundfile.write(tmp_path / "tone.wav", tone, RATE_HZ, subtype="FLOAT")
    (piece,) = find_pieces(tmp_path).pieces
    row = survey_piece(piece, Asked(stage))
    found, volts = row.asked, 0.999 * math.sqrt(2.0) * 4.0
    assert found is not None
    assert found.slope_peak_v_per_us == pytest.approx(2e-6 * math.pi * hz * volts, rel=1e-3)
    assert found.slope_sine_hz == pytest.approx(0.999 * hz, rel=1e-3)
    assert found.slew_margin == pytest.approx(1e6 / (2.0 * math.pi * hz * volts), rel=1e-3)
    assert found.headroom_db == pytest.approx(20.0 * math.log10(13.0 / volts), abs=0.01)
    assert row.true_peak_dbtp == pytest.approx(20.0 * math.log10(0.999), abs=0.01)


def test_at_the_knob_from_which_a_piece_clips_it_begins_to(tmp_path: Path) -> None:
    music, stage = excerpt(tmp_path, "drums"), with_source("line-stage", HOT)
    asked = Asked(stage)
    position = survey_piece(music, asked).clips_from_knob
    assert position is not None
    assert 0.0 < position < 1.0
    there = survey_piece(music, replace(asked, knob=position)).fixed
    assert there is not None
    assert there.headroom_db == pytest.approx(0.0, abs=0.1)


def test_the_listening_level_follows_the_piece(tmp_path: Path) -> None:
    """Twice as quiet a piece is turned up as much, so that the amplifier works as hard."""
    audio = soundfile.read(MUSIC / "voice.flac", always_2d=True)[0][:200_000]
    for name, gain in (("loud", 1.0), ("quiet", 0.5)):
        soundfile.write(tmp_path / f"{name}.wav", gain * audio, RATE_HZ, subtype="FLOAT")
    found = survey_folder(load_stage("line-stage"), tmp_path, jobs=1)
    loud, quiet = found.rows
    assert loud.listening is not None
    assert quiet.listening is not None
    assert loud.fixed is not None
    assert quiet.fixed is not None
    assert loud.listening.output_peak_v == pytest.approx(quiet.listening.output_peak_v, rel=1e-3)
    assert loud.fixed.output_peak_v == pytest.approx(2.0 * quiet.fixed.output_peak_v, rel=1e-3)  # type: ignore[operator]
    assert loud.loudness_lufs - quiet.loudness_lufs == pytest.approx(20.0 * math.log10(2.0))
    assert found.summary.asked == found.summary.listening


def test_the_number_of_workers_changes_nothing(tmp_path: Path) -> None:
    music = collection(tmp_path / "music", pieces=7)
    stage = with_source("slow-early", HOT)
    alone = survey_folder(stage, music, jobs=1, out=tmp_path / "one.jsonl")
    many = survey_folder(stage, music, jobs=2, out=tmp_path / "two.jsonl")
    assert alone == many
    assert (tmp_path / "one.jsonl").read_bytes() == (tmp_path / "two.jsonl").read_bytes()
    names = [row["file"] for row in lines_of(tmp_path / "one.jsonl")]
    assert names == sorted(names)
    assert 0 < alone.summary.asked.either < 7


def test_a_survey_taken_up_again_is_the_uninterrupted_one(tmp_path: Path) -> None:
    """Torn anywhere: at every line end, and within lines, the heading's among them."""
    music = collection(tmp_path / "music", pieces=4, seconds=0.5)
    stage, whole = load_stage("line-stage"), tmp_path / "whole.jsonl"
    expected = survey_folder(stage, music, jobs=1, out=whole)
    text = whole.read_bytes()
    ends = [place + 1 for place, byte in enumerate(text) if byte == ord("\n")]
    for cut in (0, 1, ends[0] - 1, ends[0], ends[0] + 1, ends[2] - 1, ends[2], len(text) - 1):
        torn = tmp_path / "torn.jsonl"
        torn.write_bytes(text[:cut])
        found = survey_folder(stage, music, jobs=1, out=torn)
        assert found.rows == expected.rows
        assert found.taken_over == sum(end <= cut for end in ends[1:])
        assert torn.read_bytes() == text


def test_what_was_done_is_not_done_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """But a file that has changed, one that could not be read, and one that is new are."""
    music = collection(tmp_path / "music", pieces=3, seconds=0.5)
    (music / "broken.wav").write_bytes(b"RIFF")
    out, stage = tmp_path / "out.jsonl", load_stage("line-stage")
    survey_folder(stage, music, jobs=1, out=out)
    begun: list[str] = []

    def told(piece: Piece, asked: Asked) -> Row:
        begun.append(piece.name)
        return survey_piece(piece, asked)

    monkeypatch.setattr("stagefx.survey.workers.survey_piece", told)
    changed, gone = music / "disc 0" / "piece 00.wav", music / "disc 2" / "piece 02.wav"
    soundfile.write(changed, np.zeros((RATE_HZ, 1)), RATE_HZ, subtype="PCM_16")
    gone.rename(music / "disc 2" / "new.wav")
    found = survey_folder(stage, music, jobs=1, out=out)
    assert sorted(begun) == ["broken.wav", "disc 0/piece 00.wav", "disc 2/new.wav"]
    assert found.taken_over == 1
    assert [row["file"] for row in lines_of(out)] == [row.file for row in found.rows]
    assert [row.file for row in found.rows] == [
        "broken.wav", "disc 0/piece 00.wav", "disc 1/piece 01.flac", "disc 2/new.wav"
    ]  # fmt: skip


def test_rows_come_back_from_their_lines_as_they_were(tmp_path: Path) -> None:
    music = collection(tmp_path / "music", pieces=2, seconds=0.5)
    soundfile.write(music / "silence.wav", np.zeros((RATE_HZ, 2)), RATE_HZ, subtype="PCM_16")
    (music / "text.flac").write_text("no music", encoding="utf-8")
    for name in ("line-stage", "passive-control", "wire", "thin-coupling"):
        found = survey_folder(load_stage(name), music, jobs=1)
        assert [Row.from_json(row.as_json()) for row in found.rows] == list(found.rows)
        silence = next(row for row in found.rows if row.file == "silence.wav")
        assert silence.as_json()["loudness_lufs"] == {"value": None, "reason": "minus infinity"}


def test_a_full_survey_judges_the_stage_against_a_wire(tmp_path: Path) -> None:
    """The ear's probability of hearing a slewing stage is higher than that of a healthy one."""
    excerpt(tmp_path, "voice", seconds=2.0)
    found = {
        name: survey_folder(stage, tmp_path, jobs=1, full=True)
        for name, stage in (("slow", with_source("slow-early", HOT)),
                            ("healthy", load_stage("line-stage")))
    }  # fmt: skip
    slow, healthy = (found[name].rows[0].hearing for name in ("slow", "healthy"))
    assert slow is not None
    assert healthy is not None
    assert slow.grade == "will be heard"
    assert healthy.grade in {"should not be heard", "below what can be measured"}
    assert slow.detection_probability is not None
    assert healthy.detection_probability is not None
    assert slow.detection_probability > 0.95
    assert healthy.detection_probability < 0.2
    assert found["slow"].summary.grades == {"will be heard": 1}
    row = found["slow"].rows[0]
    assert Row.from_json(row.as_json()) == row
