"""A stage found from readings, printed for people: remarks, what was found, reading by reading."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stagefx.evidence.wording import amount

from .words import heading, sentence, table

if TYPE_CHECKING:
    from rich.console import Console

    from stagefx.bench import BenchStage


def print_bench_stage(console: Console, found: BenchStage, *, out: str) -> None:
    """Print what readings tell of a stage, and how far the stage gives them back.

    Parameters
    ----------
    console : Console
        Where to.
    found : BenchStage
        The stage, its figures, every reading beside what the stage gives, remarks.
    out : str
        Where the stage was written.
    """
    console.print(f"{sentence(found.stage.name)}, written to {sentence(out)}", style="bold")
    if found.remarks:
        heading(console, "First, look at these readings again")
        for remark in found.remarks:
            console.print(f"{_numbered(remark.readings)}{sentence(remark.sentence)}")
    heading(console, "What the readings tell")
    rows = table(27, 24, 0)
    for figure in found.figures:
        rows.add_row(figure.key.replace("_", " "), str(figure), figure.note)
    console.print(rows)
    heading(console, "Reading by reading, beside what the stage gives")
    checks = table(-3, 22, -14, -14, 0)
    checks.add_row("", "", "read", "given", "")
    for check in found.checks:
        read, given = (amount(v, check.unit) for v in (check.measured.value, check.predicted))
        agrees = "agrees" if check.agrees else "differs by more than its uncertainty"
        checks.add_row(str(check.reading), check.of, read, given, agrees)
    console.print(checks)


def _numbered(readings: tuple[int, ...]) -> str:
    if not readings:
        return ""
    several = "s" if len(readings) > 1 else ""
    return f"Reading{several} {', '.join(map(str, readings))}: "
