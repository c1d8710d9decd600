"""A stage adjusted to measurements, printed for people."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stagefx.report.text.fit_wording import figure_name, figure_note, figure_value, told_rows
from stagefx.report.text.numbers import amount

from ..words import heading, sentence, table

if TYPE_CHECKING:
    from rich.console import Console

    from stagefx.bench.fit.report import FittedStage, Row

STATES = (
    ("What the measurement tells", {"determined", "others held"}, (29, -24, 0)),
    ("What it does not tell, kept as described", {"not told apart", "not seen"}, (29, -10, 0)),
)
"""Heading, states, widths of columns."""


def print_fit(console: Console, fitted: FittedStage, *, out: str) -> None:
    """Print what a fit came to: figures, what is not known, every number before and after."""
    console.print(f"{sentence(fitted.stage.name)}, written to {sentence(out)}", style="bold")
    for remark in fitted.remarks:
        console.print(f"{sentence(remark)}.")
    for title, states, widths in STATES:
        figures = [one for one in fitted.figures if one.state in states]
        if not figures:
            continue
        heading(console, title)
        rows = table(*widths)
        for one in figures:
            rows.add_row(figure_name(one), figure_value(one), figure_note(one))
        console.print(rows)
    heading(console, "Measured, beside what the stage gives")
    rows = table(26, -16, -12, -11, 0)
    rows.add_row("", "measured", "as described", "as fitted", "")
    for name, row in told_rows(fitted):
        cells = [_cell(value, row) for value in (row.measured, row.before, row.after)]
        least = "over " if row.at_least else ""
        rows.add_row(name, f"{least}{cells[0]}", *cells[1:], "" if row.agrees else "misses")
    console.print(rows)
    missed = sum(not row.agrees for row in fitted.rows)
    console.print()
    console.print(
        f"{len(fitted.rows)} numbers were measured; the fitted stage meets "
        f"{'all' if missed == 0 else len(fitted.rows) - missed} of them within twice their "
        "uncertainty. Errors are standard errors."
    )


def _cell(value: float, row: Row) -> str:
    if math.isnan(value):
        return "-"
    return "no limit" if math.isinf(value) else amount(value, row.unit)
