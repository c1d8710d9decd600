"""The picture of a stage's margins: one row a cause, the nearest at the top."""

from __future__ import annotations

from dataclasses import replace

import pytest
from matplotlib.figure import Figure

from stagefx.audition.margin import CauseMargin, Margin, headline
from stagefx.hearing.grades import Grade
from stagefx.hearing.level_at_ear import LevelAtEar
from stagefx.report.plots import style
from stagefx.report.plots.hearing.margin import draw_margin
from stagefx.samples import samples_folder
from tests.contract.test_pictures import assert_nothing_collides

HOME = samples_folder()


def one(effect: str, cause: str, factor: float | None, grade: Grade | None) -> CauseMargin:
    reason = "" if factor is not None else "more than 10,000 times"
    said = f"The {cause} would have to be {factor} times as bad."
    return CauseMargin(effect, cause, factor, reason, grade, "", said)


FOUND = Margin(
    stage="a board",
    music="trio.flac",
    start_s=2.0,
    stop_s=12.0,
    why="It was asked for.",
    level_at_ear=LevelAtEar(85.0, -20.0, 105.0),
    causes=(
        one("slew", "slew limit", 38.0, Grade.BELOW),
        one("clip", "clip levels", 1.0, Grade.MAY),
        one("noise", "noise voltage", None, Grade.SHOULD_NOT),
        one("offset", "direct voltage", None, None),
    ),
)


@pytest.fixture(scope="module")
def figure() -> Figure:
    return draw_margin(FOUND)


def test_every_cause_that_was_judged_is_drawn_the_nearest_first(figure: Figure) -> None:
    (axes,) = figure.axes
    shown = [label.get_text() for label in axes.get_yticklabels()]
    assert shown == ["clip levels", "slew limit", "noise voltage"]
    words = [text.get_text() for text in axes.texts]
    assert {"38 times to spare", "may be heard as it is", "heard from here"} <= set(words)
    assert "more than 10,000 times to spare" in words
    assert axes.get_title(loc="left") == headline(FOUND).removesuffix(".")


def test_a_mark_stands_where_the_cause_is(figure: Figure) -> None:
    marks = [line for line in figure.axes[0].lines if line.get_marker() == "o"]
    assert [line.get_xdata()[0] for line in marks] == [1.0, 1.0 / 38.0]
    assert [line.get_fillstyle() for line in marks] == ["left", "none"]


def test_the_texts_have_room(figure: Figure) -> None:
    assert_nothing_collides(figure)
    crowded = tuple(
        replace(FOUND.causes[0], cause=f"coupling of the channels {n}", factor=1234.5 + n)
        for n in range(14)
    )
    assert_nothing_collides(draw_margin(replace(FOUND, causes=crowded)))


def test_ink_alone_is_used(figure: Figure) -> None:
    colours = {line.get_color() for line in figure.axes[0].lines}
    assert colours <= {style.INK, style.FAINT}


def test_the_nearest_cause_speaks_for_its_effect() -> None:
    far, near = (
        one("loading", "coupling", 30.0, Grade.SHOULD_NOT),
        one("loading", "shunt", 12.0, Grade.SHOULD_NOT),
    )
    found = replace(FOUND, causes=(far, near))
    assert [effect.cause for effect in found.effects] == ["shunt"]
    (row,) = found.as_json()["effects"]
    assert row["factor"] == 12.0
    assert [cause["factor"] for cause in row["causes"]] == [30.0, 12.0]
