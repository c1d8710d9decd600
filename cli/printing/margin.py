"""Margins, printed for people: one row a cause, the nearest first."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from stagefx.audition.margin import CauseMargin, Margin, headline
from stagefx.figures.faults import FaultRemark

from .compare import print_faults
from .words import heading, sentence, table

if TYPE_CHECKING:
    from rich.console import Console


def print_margin(console: Console, found: Margin) -> None:
    """Print how far each cause would have to grow."""
    print_faults(console, [one.sentence for one in found.remarks if isinstance(one, FaultRemark)])
    console.print(sentence(headline(found)), style="bold")
    console.print(
        f"Calculated, at a listening level of {found.level_at_ear.listening_level_db:g} dB, with "
        f"{sentence(found.music)} from {found.start_s:.1f} to {found.stop_s:.1f} s. {found.why}"
    )
    heading(console, "How much worse each could get, alone, before it may be heard")
    judged = [one for one in found.causes if one.grade_now is not None]
    judged.sort(key=lambda one: (-_rank(one), one.size))
    for grade, ones in groupby(judged, key=lambda one: one.grade_now):
        console.print(f"{grade} as it is:")
        rows = table(1, 14, 26, -14, 0, gap=1)
        rows.add_row("", "effect", "what grows", "by", "  first heard as")
        for one in ones:
            rows.add_row("", one.effect, one.cause, _times(one), f"  {one.decided_by}")
        console.print(rows)
    untold = [one for one in found.causes if one.grade_now is None]
    for one in untold:
        console.print(sentence(one.sentence))
    for remark in found.remarks:
        if not isinstance(remark, FaultRemark):
            console.print(sentence(remark))


def _rank(one: CauseMargin) -> int:
    return -1 if one.grade_now is None else one.grade_now.rank


def _times(one: CauseMargin) -> str:
    if one.factor is None:
        return "> 10,000 times"
    return f"{one.factor:,.3g} times" if one.factor < 1000.0 else f"{one.factor:,.0f} times"
