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
    """Answer, where one of two stages is `wire`, whether the other is one as well.

    Parameters
    ----------
    first, second : Stage
        Two stages that were compared.
    audibility table : iterable of LedgerRow
        Every kind of difference.
    verdict : Verdict
        What it came to.

    Returns
    -------
    tuple of str
        One sentence with its numbers; empty where neither is `wire`, or both are.

    Examples
    --------
    >>> from stagefx.hearing.audibility import judged_row
    >>> from stagefx.hearing.verdict import Conditions, pass_verdict
    >>> from stagefx.circuit.description.files import load_stage
    >>> here = Conditions("calculated", 85.0, "trio.flac", "gain", 0.0)
    >>> rows = [judged_row("high end", 0.05), judged_row("remainder", -90.0)]
    >>> wire, stage = load_stage("wire"), load_stage("line-stage")
    >>> wire_claim(wire, stage, rows, pass_verdict(rows, here))[0].partition("? ")[2]
    'As far as hearing goes, yes: nearest is the high end, 20 times away.'
    """
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
