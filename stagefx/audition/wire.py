"""Whether a stage is, as far as hearing goes, a piece of wire with gain."""

from __future__ import annotations

from collections.abc import Iterable

from stagefx.circuit.description.files import WIRE
from stagefx.circuit.description.stage import Stage
from stagefx.hearing.audibility import AudibilityRow
from stagefx.hearing.grades import Grade
from stagefx.hearing.verdict import Verdict
from stagefx.hearing.wording import distance_of, quantity, size_of, subject

QUESTION = "A piece of wire with gain?"


def wire_claim(
    first: Stage, second: Stage, audibility: Iterable[AudibilityRow], verdict: Verdict
) -> tuple[str, ...]:
    """Answer, where one of two stages is `wire`, whether the other is one as well."""
    if (first == WIRE) == (second == WIRE):
        return ()
    if verdict.grade is Grade.BELOW:
        return (f"{QUESTION} Yes: nothing that could be measured sets the two apart.",)
    row = next((row for row in audibility if row.name == verdict.flips_at.row), None)
    if row is None:
        return ()
    if verdict.grade is Grade.SHOULD_NOT:
        near = f"nearest is {subject(row.name)}, {distance_of(row)} away"
        return (f"{QUESTION} As far as hearing goes, yes: {near}.",)
    limit = quantity(row.may, row.unit)
    found = f"{subject(row.name).capitalize()}: {size_of(row)}, where it may be heard from {limit}"
    answer = "No" if verdict.grade is Grade.WILL else "Perhaps not"
    return (f"{QUESTION} {answer}. {found}.",)
