"""Axes, names and claims of plots by themselves, and plots of nothing."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from stagefx.bench.fit.report import FittedStage, Row
from stagefx.blind.keys import SealedKey
from stagefx.blind.pack.readme import read_me
from stagefx.blind.scoring import score
from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.figures.table import compute_figures, response_curve
from stagefx.hearing.audibility import judged_row
from stagefx.report.plots.bench.fit import draw_fit
from stagefx.report.plots.hearing.blind import draw_score
from stagefx.report.plots.hearing.distance_rows import WIDE, distance_rows, heard_from_x
from stagefx.report.plots.hearing.survey import Surveyed, draw_clipping, draw_slopes
from stagefx.report.plots.stage.noise import bands_of_noise, noise_claim
from stagefx.report.plots.style import drawing, hatch, level_axis, name_ends, sheet
from stagefx.report.text.fit_wording import told_rows


@pytest.mark.parametrize(("low", "high"), [(-3.0, 1.0), (-3.1, 1.0), (-120.0, 0.0), (0.0, 0.02)])
def test_a_level_axis_is_marked_in_round_steps_clear_of_the_foot(low: float, high: float) -> None:
    with drawing():
        axes = sheet("a stage").add_subplot()
        level_axis(axes, low, high, label="level, dB")
    marks = axes.get_yticks()
    step = np.diff(marks)
    assert 2 <= len(marks) <= 7
    np.testing.assert_allclose(step, step[0], rtol=1e-9)
    assert f"{step[0]:.3e}"[:5] in {"1.000", "2.000", "5.000"}
    assert marks[0] > low + 0.05 * (high - low)
    assert marks[-1] <= high
    assert axes.get_ylabel() == "level, dB"


@pytest.mark.parametrize(
    "ends",
    [
        [(0.5, "stock"), (0.5, "quick")],
        [(0.0, "a"), (0.01, "b"), (0.02, "c"), (0.9, "d")],
    ],
)
def test_names_at_the_ends_of_lines_stand_apart_and_in_order(
    ends: list[tuple[float, str]],
) -> None:
    with drawing():
        axes = sheet("a stage").add_subplot()
        name_ends(axes, ends, gap=0.1)
    places = {text.get_text(): text.xy[1] for text in axes.texts}
    apart = np.diff(sorted(places.values()))
    assert (apart >= 0.1 - 1e-9).all()
    by_value = [name for _, name in sorted(ends)]
    assert sorted(places, key=lambda name: places[name]) == by_value


def test_a_name_of_what_lies_off_the_axes_is_brought_back_to_them() -> None:
    with drawing():
        axes = sheet("a stage").add_subplot()
        name_ends(axes, [(-5.0, "under the axes"), (7.0, "over them")])
    under, over = (text.xy[1] for text in axes.texts)
    assert 0.0 < under < 0.1
    assert 0.9 < over < 1.0


def test_what_cannot_be_measured_is_hatched_and_not_filled() -> None:
    with drawing():
        axes = sheet("a stage").add_subplot()
        hatch(axes, [0.0, 1.0], [0.0, 0.0], [1.0, 1.0])
    (area,) = axes.collections
    assert area.get_hatch() == "////"
    assert np.size(area.get_facecolor()) == 0 or not np.asarray(area.get_facecolor())[:, 3].any()


def test_a_survey_of_nothing_draws_no_axes_and_says_so() -> None:
    nothing = Surveyed("a stage", "as it stands", (), None, None)
    for draw, said in (
        (draw_slopes, "No slope is known: there is no amplifier, or nothing was read"),
        (draw_clipping, "Nothing is known of clipping"),
    ):
        with drawing():
            axes = sheet("a stage").add_subplot()
            draw(axes, nothing)
        assert axes.get_title(loc="left") == said
        assert not axes.axison


@pytest.mark.parametrize(
    ("clips_from", "clipping", "said"),
    [
        ((None, None), 0, "Nothing clips at any position of the knob"),
        (None, 1, "1 of 2 clip; there is no knob"),
    ],
)
def test_a_survey_says_whether_anything_clips(
    clips_from: tuple[None, ...] | None, clipping: int, said: str
) -> None:
    found = Surveyed("a stage", "as it stands", (0.1, 0.2), None, clips_from, clipping)
    with drawing():
        axes = sheet("a stage").add_subplot()
        draw_clipping(axes, found)
    assert axes.get_title(loc="left") == said


def test_a_score_of_no_replies_is_drawn() -> None:
    key = SealedKey("0" * 16, "abx", ("10",), ("main",), "0" * 32)
    (axes,) = draw_score(score(key, [])).axes
    assert "Nobody has replied yet" in axes.get_title(loc="left")


def row_of(kind: str, after: float, *, hz: float | None = 1000.0, load: float | None = None) -> Row:
    return Row(kind, hz, load, 12.0, 0.02, 12.1, after, "dB")


def test_a_fit_s_numbers_are_counted_where_they_are_met() -> None:
    wire = load_stage("wire")
    rows = (row_of("gain", 12.0), row_of("balance", 15.0, hz=None))
    axes = draw_fit(FittedStage(wire, wire, (), rows)).axes[1]
    assert axes.get_title(loc="left") == "1 of 2 numbers are met"
    assert axes.get_xlabel() == "off by, % of the measured value (dB for levels)"


def test_a_number_measured_on_two_loads_is_named_with_its_load() -> None:
    wire = load_stage("wire")
    one, two = row_of("gain", 12.0, load=600.0), row_of("gain", 12.0, load=10e3)
    told = [name for name, _ in told_rows(FittedStage(wire, wire, (), (one, two)))]
    assert told == ["gain, 600 ohm", "gain, 10 kohm"]
    alone = told_rows(FittedStage(wire, wire, (), (one,)))
    assert [name for name, _ in alone] == ["gain"]
    assert told_rows(FittedStage(wire, wire, (), ())) == ()


def test_noise_is_told_re_the_threshold_and_in_volts_where_nobody_listens() -> None:
    said = noise_claim(bands_of_noise(compute_figures(load_stage("line-stage"))))
    assert said.startswith("The hiss at the seat stays ")
    assert said.endswith(" dB under the threshold of hearing")
    unheard = stage_from({"amplifier": {"gain": 4.0, "voltage_noise": "5 nV/rtHz"}})
    said = noise_claim(bands_of_noise(compute_figures(unheard)))
    assert said.startswith("The noise is ")
    assert said.endswith("V; no listening chain says how loud that is")
    assert noise_claim(bands_of_noise(compute_figures(load_stage("wire")))) == (
        "Nothing in this stage makes noise"
    )


def test_a_wire_s_response_is_flat_at_nought() -> None:
    curve = np.array(response_curve(nominal(load_stage("wire"))))
    assert (curve[0, 0], curve[-1, 0]) == pytest.approx((10.0, 100e3))
    np.testing.assert_array_equal(curve[:, 1:], 0.0)


def test_a_response_is_told_re_1_khz() -> None:
    curve = np.array(response_curve(nominal(load_stage("thin-coupling"))))
    assert np.interp(3.0, np.log10(curve[:, 0]), curve[:, 1]) == pytest.approx(0.0, abs=1e-3)
    assert curve[0, 1] < -3.0


def test_a_listener_reads_of_the_trials_and_the_sealed_key() -> None:
    known = {"title": "", "trials": 16, "control_trials": 5, "commitment": "0123" * 16}
    text = read_me(known)
    assert "21" in text
    assert "0123" * 16 in text
    assert "which is which?" in text
    assert "honest listeners" in text


def test_a_page_s_rows_stand_nearest_first_on_their_side_of_where_one_hears() -> None:
    """Marked by their grades, and hatched as far as nothing can be measured."""
    audibility = (
        judged_row("level", 0.02),
        judged_row("noise", -25.0, floor=-60.0),
        judged_row("high end", 2.2),
        judged_row("remainder", 3.5),
    )
    found: Any = SimpleNamespace(audibility=audibility)
    rows = distance_rows(found)
    assert [(row.name, row.mark) for row in rows] == [
        ("remainder", "filled"),
        ("high end", "half"),
        ("level", "open"),
        ("noise", "open"),
    ]
    assert [row.x > heard_from_x() for row in rows] == [True, True, False, False]
    assert [row.floor_x > 0.0 for row in rows] == [False, False, False, True]
    # 120 dB across: from 100 dB to spare to 20 dB over
    assert heard_from_x() == pytest.approx(WIDE * 100.0 / 120.0)
    assert heard_from_x() - rows[3].x == pytest.approx(WIDE * 25.0 / 120.0)
