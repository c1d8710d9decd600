"""Grades, margins and the sentence: no more is said than the numbers hold."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from stagefx.audition.shortcuts import compare_recordings
from stagefx.errors import ComparisonError
from stagefx.hearing.audibility import judged_row, margin_db, unjudged_row
from stagefx.hearing.grades import Grade, grade_of, worst
from stagefx.hearing.thresholds import limits
from stagefx.hearing.verdict import Conditions, pass_verdict
from stagefx.io.recording import HeldAudio
from tests.band_limited import RATE_HZ, sound

LEVEL, NOISE = limits()["level"], limits()["noise"]
CLEAN = judged_row("remainder", -60.0)
HERE = Conditions("calculated", 85.0, "trio.flac", "gain", 0.0, remainder_db=-100.0, room_dba=30.0)


@pytest.mark.parametrize(
    ("value", "floor", "grade"),
    [
        (0.0, 0.001, Grade.BELOW),
        (0.0009, 0.001, Grade.BELOW),
        (0.001, 0.001, Grade.SHOULD_NOT),
        (0.0, None, Grade.SHOULD_NOT),
        (0.1999, 0.001, Grade.SHOULD_NOT),
        (0.2, 0.001, Grade.MAY),
        (0.5, 0.001, Grade.WILL),
        (0.01, 0.3, Grade.MAY),  # the floor's own grade
        (0.01, 0.6, Grade.WILL),
        (0.35, 0.3, Grade.MAY),
    ],
)
def test_the_grade_of_a_value(value: float, floor: float | None, grade: Grade) -> None:
    assert grade_of(value, LEVEL, floor=floor) is grade


@pytest.mark.parametrize(
    ("rows", "grade"),
    [
        ({"high end": 9.0}, Grade.MAY),
        ({"high end": 9.0, "middle": 9.0, "ear model": 0.94}, Grade.MAY),
        ({"ear model": 1.0}, Grade.MAY),
        ({"ear model": 1.0, "high end": 2.9}, Grade.MAY),
        ({"ear model": 0.95, "high end": 3.0}, Grade.WILL),
        ({"ear model": 0.95, "remainder": 3.0}, Grade.WILL),
        ({"noise": 10.0}, Grade.WILL),
        ({"hum": 10.0, "ear model": 0.0}, Grade.WILL),
        ({"noise": 9.9}, Grade.MAY),
        ({"edits": 100.0}, Grade.WILL),
        ({"events": 12.0, "ear model": 0.0}, Grade.WILL),
        ({"exchange": 2.0}, Grade.WILL),
        ({"speed": 1.0}, Grade.WILL),
        ({"wow": 0.3}, Grade.WILL),
        ({"balance": 1.0}, Grade.WILL),
        ({"inter-channel delay": 30.0}, Grade.WILL),
        ({"level": 0.6, "group delay": 3.0, "remainder": 4.0}, Grade.MAY),
    ],
)
def test_will_be_heard_takes_two_witnesses_or_a_row_that_decides_alone(
    rows: dict[str, float], grade: Grade
) -> None:
    audibility = [judged_row(name, value) for name, value in rows.items()]
    clean = [] if "remainder" in rows else [CLEAN]
    assert pass_verdict([*audibility, *clean], HERE).grade is grade


def test_the_worst_grade_decides() -> None:
    assert worst([Grade.BELOW, Grade.MAY, Grade.SHOULD_NOT]) is Grade.MAY
    assert worst([]) is None
    assert [grade.rank for grade in Grade] == [0, 1, 2, 3]


def test_margins() -> None:
    """Deviations by ratio, levels by distance."""
    assert margin_db(0.1, LEVEL) == pytest.approx(6.0206, abs=1e-4)
    assert margin_db(0.4, LEVEL) == pytest.approx(-6.0206, abs=1e-4)
    assert margin_db(0.0, LEVEL) == math.inf
    assert margin_db(-12.0, NOISE) == 12.0
    assert margin_db(3.0, NOISE) == -3.0
    assert margin_db(0.1, limits()["ear model"]) is None


def test_every_limit_says_what_it_rests_on() -> None:
    for limit in limits().values():
        assert limit.may < limit.will
        assert limit.kind in {"published", "common practice", "working assumption"}
        assert limit.scale in {"deviation", "level", "probability"}
        assert limit.sure in {"high", "medium", "low"}
        assert all((limit.what, limit.source, limit.reason))
        assert judged_row(limit.name, limit.may).source.startswith(limit.kind)


def test_what_should_not_be_heard() -> None:
    rows = [judged_row("high end", 0.04, floor=1e-4, at_hz=15849.0, direction="down")]
    found = pass_verdict([*rows, CLEAN, unjudged_row("hum", "unknown")], HERE)
    assert found.grade is Grade.SHOULD_NOT
    assert found.sentence == (
        "In this set-up the difference should not be heard. Calculated, at a listening level of "
        "85 dB in a 30 dBA room, with trio.flac, levels matched by gain, 0 dB apart. Nearest to "
        "being heard is the high end: about 1/12 of the smallest step of a typical volume control "
        "(0.040 dB down at 16 kHz), where it may be heard from 1.0 dB. The distortion and noise "
        "residual is 100.0 dB below the music. Not judged: hum. The high end would have to change "
        "25 times as much to alter this."
    )
    assert found.flips_at.row == "high end"
    assert (found.flips_at.value, found.flips_at.limit) == (0.04, 1.0)
    assert found.not_judged == ("hum",)


def test_what_may_be_heard_names_every_row_that_is_over() -> None:
    rows = [judged_row("level", 0.1), judged_row("middle", 0.7), judged_row("high end", 2.2)]
    found = pass_verdict(rows, HERE)
    assert found.grade is Grade.MAY
    assert "The high end: about 4 times the smallest step" in found.sentence
    assert "The middle: " in found.sentence
    assert "The level: " not in found.sentence
    assert found.flips_at.row == "high end"


@pytest.mark.parametrize(
    ("rows", "near", "words"),
    [
        ({"level": 0.17}, True, "of the level it may be heard"),  # 0.17 x 1.25 = 0.2125
        ({"level": 0.15}, False, ""),  # x 1.25 = 0.1875
        ({"level": 0.24}, True, "of the level it should not be heard"),
        ({"level": 0.26}, False, ""),
        ({"events": 4.1}, True, "of the loudest event it may be heard"),  # within 2 dB of 6
        ({"events": 3.9}, False, ""),
        ({"events": 10.5}, True, "it will be heard"),
        ({"level": 0.17, "middle": 0.7}, False, ""),  # the middle decides, whatever the level
    ],
)
def test_what_stands_near_a_limit_is_said(
    rows: dict[str, float], *, near: bool, words: str
) -> None:
    audibility = [judged_row(name, value) for name, value in rows.items()]
    found = pass_verdict([*audibility, CLEAN], HERE)
    assert bool(found.near_limit) is near
    assert words in found.near_limit
    assert found.near_limit in found.sentence


@pytest.mark.parametrize(
    ("there", "said"),
    [
        (Grade.WILL, "In a room of 15 dBA it will be heard."),
        (Grade.MAY, "In a room of 15 dBA it may be heard."),
        (Grade.SHOULD_NOT, ""),
        (None, ""),
    ],
)
def test_a_quieter_room_is_spoken_of_where_it_would_turn_the_verdict(
    there: Grade | None, said: str
) -> None:
    found = pass_verdict([judged_row("level", 0.1), CLEAN], replace(HERE, in_quieter_room=there))
    assert ("In a room of" in found.sentence) is bool(said)
    assert said in found.sentence


def test_a_row_that_was_not_measured_finely_enough_says_so() -> None:
    found = pass_verdict([judged_row("low end", 0.1, floor=0.7)], HERE)
    assert found.grade is Grade.MAY
    assert "was not measured finely enough" in found.sentence


def test_where_distortion_was_not_judged_it_may_be_heard() -> None:
    rows = [judged_row("level", 0.01), unjudged_row("remainder", "the music is too short")]
    found = pass_verdict(rows, HERE)
    assert found.grade is Grade.MAY
    assert "Distortion was not judged: the music is too short." in found.sentence


def test_clipping_is_told_whatever_the_grade() -> None:
    strained = replace(HERE, strained=("the second stage clips in 0.3 % of the music",))
    found = pass_verdict([judged_row("level", 0.01), CLEAN], strained)
    assert found.grade is Grade.SHOULD_NOT
    assert "The second stage clips in 0.3 % of the music." in found.sentence


def test_without_any_judged_row_nothing_is_cleared() -> None:
    found = pass_verdict([unjudged_row("level", "unknown")], HERE)
    assert found.grade is Grade.MAY
    assert "No row of the audibility table could be judged" in found.sentence


@pytest.mark.parametrize("basis", ["calculated", "measured"])
@pytest.mark.parametrize("value", [0.0, 0.04, 0.3, 40.0])
def test_every_sentence_says_basis_and_conditions_and_never_too_much(
    basis: str, value: float
) -> None:
    conditions = replace(HERE, basis=basis)
    rows = [judged_row("high end", value, floor=1e-3), CLEAN]
    said = pass_verdict(rows, conditions).sentence
    assert said.startswith("In this set-up the difference ")
    assert basis.capitalize() in said
    for word in ("85 dB", "trio.flac", "levels matched"):
        assert word in said
    for word in ("inaudible", "audible", "proves", "transparent", "will be heard", "nan", "inf"):
        assert word not in said


def test_a_comparison_of_equals_is_plain_json_with_reasons() -> None:
    same = HeldAudio(sound(2.0), RATE_HZ)
    found = json.loads(json.dumps(compare_recordings(same, same).as_json(), allow_nan=False))
    nothing = {"value": None, "reason": "nothing is left"}
    assert all(depth == nothing for depth in found["null_db"].values())
    assert found["response"]["deviation_db"] == 0.0
    assert found["loudness"]["difference_db"] == 0.0
    assert found["verdict"]["grade"] == "below what can be measured"
    rows = {row["name"]: row for row in found["audibility"]}
    assert rows["level"]["value"] == 0.0
    assert rows["level"]["margin_db"] == {"value": None, "reason": "infinite"}
    assert rows["noise"]["grade"] == {"value": None, "reason": "not judged"}


def test_a_level_match_takes_the_level_row_away_and_nothing_else() -> None:
    music = sound(3.0)
    pieces = HeldAudio(music, RATE_HZ), HeldAudio(0.5 * music, RATE_HZ)
    apart, matched = (compare_recordings(*pieces, level_by=by) for by in ("nothing", "gain"))
    level, same = (
        next(row for row in found.audibility if row.name == "level") for found in (apart, matched)
    )
    assert level.value == pytest.approx(6.0206, abs=1e-3)
    assert level.direction == "down"
    assert same.value == pytest.approx(0.0, abs=1e-6)
    assert matched.difference.alignment == apart.difference.alignment
    kept = [row.name for row in apart.audibility if row.name not in {"level", "ear model"}]
    rows = [{row.name: row for row in found.audibility} for found in (matched, apart)]
    assert all(rows[0][name] == rows[1][name] for name in kept)
    assert rows[0]["ear model"].grade is Grade.BELOW
    assert rows[1]["ear model"].grade is Grade.WILL


@pytest.mark.parametrize("passage", [(2.0, 1.0), (-1.0, 1.0), (0.0, 99.0), (1.0, 1.0)])
def test_a_passage_that_is_not_there(passage: tuple[float, float]) -> None:
    same = HeldAudio(sound(2.0), RATE_HZ)
    with pytest.raises(ComparisonError, match="has no passage from") as caught:
        compare_recordings(same, same, passage=passage)
    assert "between 0 and 2 s" in str(caught.value)


def test_only_the_passage_is_compared() -> None:
    music = sound(4.0)
    second = music.copy()
    second[:RATE_HZ] += 0.1 * np.random.default_rng(1).standard_normal((RATE_HZ, 2))
    pieces = HeldAudio(music, RATE_HZ), HeldAudio(second, RATE_HZ)
    assert compare_recordings(*pieces).verdict.grade is Grade.WILL
    assert compare_recordings(*pieces, passage=(1.5, 4.0)).verdict.grade is Grade.BELOW
