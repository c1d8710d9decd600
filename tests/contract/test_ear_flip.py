"""What the ear model would have to say for an answer to change."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from stagefx.hearing.audibility import AudibilityRow, judged_row
from stagefx.hearing.grades import EAR_MODEL
from stagefx.report.text.summary import _ear_flip
from stagefx.report.text.traced_numbers import Telling


def told(probability: float, *, beside: tuple[AudibilityRow, ...] = ()) -> str:
    row = judged_row(EAR_MODEL, probability)
    over = [one for one in (row, *beside) if one.value is not None and one.value >= one.may]
    known = SimpleNamespace(over=over, row_at=lambda _row: "/audibility/0")
    return _ear_flip(known, Telling(), row)


@pytest.mark.parametrize(
    ("probability", "said"),
    [
        (0.081, "would have to rise from a probability of 0.081 to 0.2 to change this."),
        (0.63, "would have to fall from a probability of 0.63 to under 0.2 to change this."),
        (0.2002, "stands at its limit, a probability of 0.2: a little less changes this."),
        (0.1998, "stands at its limit, a probability of 0.2: a little more changes this."),
    ],
)
def test_it_rises_falls_or_stands_at_its_limit(probability: float, said: str) -> None:
    assert told(probability) == f"What the ear model says {said}"


def test_the_others_that_are_over_are_named() -> None:
    sentence = told(0.63, beside=(judged_row("level", 0.4),))
    assert sentence.endswith("to change this, and the level would have to shrink as well.")
