"""Sizes, distances and names in the words that people read."""

from __future__ import annotations

import math

import numpy as np
import pytest

from stagefx.bench.scope.interpretation import read_scope
from stagefx.bench.scope.tables import Trace
from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.hearing.audibility import judged_row
from stagefx.hearing.grades import Grade
from stagefx.hearing.rows.on_paper import grades_of, may_be_heard
from stagefx.hearing.thresholds import limits
from stagefx.hearing.wording import distance_of, in_control_steps, size_of, subject
from stagefx.render.report import Moment
from stagefx.report.plots.bench.expectation import edge_window
from stagefx.report.plots.bench.scope import scope_claim
from stagefx.report.plots.style import wrapped
from stagefx.report.text.bench_sheet import percent
from stagefx.report.text.conditions import tell_circumstances
from stagefx.report.text.context import is_over, strain_verb
from stagefx.report.text.margins import distance_db, floor_margin_db
from stagefx.report.text.sentences import as_sentence
from stagefx.report.text.traced_numbers import Telling, tell_row

STEP = "the smallest step of a typical volume control"


@pytest.mark.parametrize(
    ("size_db", "many"),
    [
        (0.004, "less than a hundredth of"), (0.04, "about 1/12 of"), (0.25, "about half"),
        (0.5, "about"), (0.9, "about twice"), (2.2, "about 4 times"), (6.0, "about 12 times"),
    ],
)  # fmt: skip
def test_a_level_is_told_in_steps_of_half_a_decibel(size_db: float, many: str) -> None:
    assert in_control_steps(size_db) == f"{many} {STEP}"


@pytest.mark.parametrize(
    ("level_db", "share"),
    [(-60.0, "0.1 %"), (-20.0, "10 %"), (0.0, "100 %"), (-40.5, "0.94 %"), (-90.3, "0.0031 %")],
)
def test_distortion_is_told_in_percent_with_two_figures(level_db: float, share: str) -> None:
    assert percent(level_db) == share


@pytest.mark.parametrize(
    ("row", "size", "distance"),
    [
        (("level", 0.02), f"about 1/25 of {STEP} (0.020 dB)", "10 times"),
        (("noise", -25.0), "25.0 dB below the threshold of hearing and the room", "25.0 dB"),
        (("hum", 3.0), "3.0 dB above the threshold of hearing and the room", "-3.0 dB"),
        (("ear model", 0.02), "it would notice the difference with a probability of 0.02",
         "by 0.18"),
        (("balance", 0.0), f"less than a hundredth of {STEP} (0 dB)", "any number of times"),
    ],
)  # fmt: skip
def test_a_row_has_a_size_and_a_distance_from_where_it_may_be_heard(
    row: tuple[str, float], size: str, distance: str
) -> None:
    """Levels in decibels, deviations as a factor, probabilities as a difference."""
    assert size_of(judged_row(*row)) == size
    assert distance_of(judged_row(*row)) == distance


def test_a_size_says_where_it_is_and_which_way_it_goes() -> None:
    row = judged_row("high end", 2.21, at_hz=10.0**4.2, direction="down")
    assert size_of(row) == f"about 4 times {STEP} (2.2 dB down at 16 kHz)"
    told = tell_row(Telling(), row, "/audibility/4")
    assert told == f"the high end falls by about 4 times {STEP} (2.2 dB at 16 kHz)"
    plain = tell_row(Telling(), row, "/audibility/4", everyday=False)
    assert plain == "the high end falls by 2.2 dB at 16 kHz"


def test_what_could_not_be_measured_to_have_changed_is_told_without_a_number() -> None:
    row = judged_row("level", 0.001, floor=0.01)
    assert row.grade is Grade.BELOW
    told = tell_row(Telling(), row, "/audibility/0")
    assert told == "the level does not change by anything that could be measured"


def test_every_row_can_be_the_subject_of_a_sentence() -> None:
    for name in limits():
        said = subject(name)
        assert said == "wow and flutter" or said.startswith(("the ", "a ", "an ")), said
    assert subject("high end") == "the high end"


@pytest.mark.parametrize(
    ("name", "value", "db"),
    [("noise", -25.0, 25.0), ("level", 0.02, 20.0), ("ear model", 0.02, 20.0)],
)
def test_all_rows_stand_on_one_scale_of_decibels(name: str, value: float, db: float) -> None:
    """A level by its distance, a tenth of what may be heard by 20 dB."""
    assert distance_db(judged_row(name, value)) == pytest.approx(db)


def test_a_floor_is_as_far_off_as_its_ratio_to_the_limit_and_none_is_no_bound() -> None:
    """A thousandth of the decibel that may be heard."""
    assert floor_margin_db(judged_row("high end", 0.05, floor=0.001)) == pytest.approx(60.0)
    assert floor_margin_db(judged_row("high end", 0.05)) == math.inf


@pytest.mark.parametrize(("value", "over"), [(0.1, False), (0.3, True), (0.8, True)])
def test_a_row_is_over_from_where_it_may_be_heard(value: float, over: bool) -> None:
    assert is_over(judged_row("level", value)) is over


@pytest.mark.parametrize(("clipped", "slewing", "verb"), [(12, 0, "clips"), (3, 9, "slews")])
def test_a_moment_is_called_by_what_happens_more(clipped: int, slewing: int, verb: str) -> None:
    moment = Moment(1.0, clipped_frames=clipped, slewing_frames=slewing)
    assert strain_verb(moment) == verb


def test_the_row_farthest_beyond_its_limit_is_the_one_that_may_be_heard() -> None:
    assert may_be_heard({"level": 0.3, "high end": 0.5, "noise": -20.0}) == "level"
    assert may_be_heard({"level": 0.3, "balance": 4.0}) == "balance"
    assert may_be_heard({"level": 0.3, "noise": 5.0}) == "noise"
    assert may_be_heard({"level": 0.6, "noise": 1.0}) == "level"
    assert may_be_heard({"level": 0.1}) == ""
    assert may_be_heard({}) == ""


def test_rows_on_paper_have_the_grades_of_their_limits() -> None:
    grades = grades_of({"level": 0.3, "ear model": 0.01, "high end": 3.5})
    assert grades["level"] is Grade.MAY
    assert grades["ear model"].rank < Grade.MAY.rank < grades["high end"].rank


def test_a_sentence_begins_with_a_capital_and_is_otherwise_as_it_was() -> None:
    assert as_sentence("line stage: 3 dB into 10 kohm") == "Line stage: 3 dB into 10 kohm"
    assert as_sentence("") == ""


def test_a_long_text_is_broken_between_words() -> None:
    text = "calculated, at a listening level of 85 dB"
    lines = wrapped(text, 24).split("\n")
    assert max(map(len, lines)) <= 24
    assert " ".join(lines) == text


@pytest.mark.parametrize(
    ("wave", "claim"),
    [
        (np.clip(12.0 * np.sin(0.00628 * np.arange(2000)), -9.0, 8.5),
         "The sine is clipped at 8.5 V and -9 V"),
        (np.sqrt(2.0) * np.sin(0.00628 * np.arange(2000)), "A sine of 1 V rms, not clipped"),
    ],
    ids=["clipped", "whole"],
)  # fmt: skip
def test_a_trace_is_told_in_one_sentence(wave: np.ndarray, claim: str) -> None:
    assert scope_claim(read_scope(Trace(0.0, 1e-6, wave, 0.0))) == claim


@pytest.mark.parametrize(("rise_s", "middle", "points"), [(10.0, 50, 1000), (400.0, 50, 1000)])
def test_a_window_round_an_edge_holds_it_and_ends_with_the_trace(
    rise_s: float, middle: int, points: int
) -> None:
    first, last = edge_window(rise_s, 1.0, middle, points)
    assert 0 <= first < middle < last <= points
    assert last - first >= min(rise_s, points - first)


def test_an_edge_between_two_points_is_shown_with_some_on_either_side() -> None:
    first, last = edge_window(0.0, 1.0, 50, 1000)
    assert first < 50 - 1
    assert last > 50 + 1


def test_what_both_stages_have_round_them_is_told_once() -> None:
    alike = tell_circumstances(
        Telling(), (load_stage("line-stage"), load_stage("line-stage-quick"))
    )
    assert alike[0].startswith("The source gives 2 V rms at full scale through 100 ohm")
    assert not any(said.startswith("After it") for said in alike)


def test_what_stands_round_one_stage_alone_is_told_of_it() -> None:
    loads = (stage_from({"load": {"resistance": f"{kohm} kohm"}}) for kohm in (10, 47))
    told = tell_circumstances(Telling(), tuple(loads))
    (before,) = (said for said in told if said.startswith("Before the change"))
    (after,) = (said for said in told if said.startswith("After it"))
    assert "10 kohm" in before
    assert "47 kohm" in after
