"""What the bench should show, printed for people."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from stagefx.report.text.bench_sheet import sheet_lines
from stagefx.report.text.numbers import amount

from ..words import heading, sentence, table

if TYPE_CHECKING:
    from rich.console import Console

    from stagefx.bench.expectation import Expectation


def print_expectation(console: Console, expected: Expectation, *, saved: str | None) -> None:
    """Print what the bench should show."""
    bench = expected.bench
    console.print(f"{sentence(bench.stage.name)} on the bench", style="bold")
    console.print(
        f"Test signals of {amount(expected.measurement.rate_hz, 'Hz')}; full scale is "
        f"{amount(bench.played_v, 'V rms')} of the source, and {amount(bench.captured_v, 'V rms')} "
        "at the recorder."
    )
    for remark in (*expected.remarks, *expected.measurement.remarks):
        console.print(sentence(remark) + ("" if remark.endswith(".") else "."))
    for group, lines in groupby(sheet_lines(expected), key=lambda line: line.group):
        heading(console, group)
        rows = table(30, -15, 0)
        for line in lines:
            rows.add_row(line.what, line.expected, line.reads)
        console.print(rows)
    console.print()
    console.print("Calculated, by the code that measures recordings; the stage's noise is in it.")
    if saved is not None:
        console.print(f"Kept as {sentence(saved)}, for 'stagefx bench fit'.")
