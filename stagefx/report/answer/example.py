"""The scenario's first question, answered once for all examples."""

from __future__ import annotations

from functools import cache

from stagefx.report.answer.answer import answer_question
from stagefx.report.answer.results import Answer
from stagefx.report.text.context import Known
from stagefx.samples import samples_folder


@cache
def example_answer() -> Answer:
    """Whether a faster device in the desk's line stage would be heard."""
    return answer_question(samples_folder() / "questions" / "faster-device.toml")


def example_known() -> Known:
    """What that answer's sentences are composed from."""
    found = example_answer()
    return Known(
        found.asked, found.piece.comparison, found.piece.passage, found.figures,
        (found.piece.music,), found.decides, found.level_by, None, None, (),
    )  # fmt: skip
