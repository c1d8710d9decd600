"""A stage found from readings, printed for people: remarks, what was found, reading by reading."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stagefx.report.text.numbers import amount

from ..words import heading, sentence, table

if TYPE_CHECKING:
    from rich.console import Console

    from stagefx.bench.readings.report import BenchStage, Checked, Found, Remark

UNIT_ENDINGS = (
    "_v_per_us", "_v_rms", "_v_rthz", "_percent", "_ohm", "_db", "_hz", "_v", "_a", "_f", "_s",
)  # fmt: skip


def print_bench_stage(console: Console, found: BenchStage, *, out: str) -> None:
    """Print what readings tell of a stage, and how far the stage gives them back."""
    console.print(f"{sentence(found.stage.name)}, written to {sentence(out)}", style="bold")
    if found.remarks:
        heading(console, "First, look at these readings again")
        for remark in found.remarks:
            console.print(f"{_numbered(remark)}{sentence(remark.sentence)}")
    heading(console, "What the readings tell")
    rows = table(27, 24, 0)
    for figure in found.figures:
        rows.add_row(_words(figure), str(figure), sentence(figure.note))
    console.print(rows)
    heading(console, "Reading by reading, beside what the stage gives")
    checks = table(-3, 22, -14, -14, 0)
    checks.add_row("", "", "read", "given", "")
    for check in found.checks:
        read, given = (amount(v, check.unit) for v in (check.measured.value, check.predicted))
        checks.add_row(str(check.reading), check.of, read, given, _agreement(check))
    console.print(checks)


def _words(figure: Found) -> str:
    """A figure's key without its unit."""
    key = figure.key
    ending = next((ending for ending in UNIT_ENDINGS if key.endswith(ending)), "")
    return key.removesuffix(ending).replace("_", " ")


def _agreement(check: Checked) -> str:
    return "agrees" if check.agrees else "differs by more than its uncertainty"


def _numbered(remark: Remark) -> str:
    if not remark.readings or remark.sentence.lower().startswith("reading"):
        return ""
    several = "s" if len(remark.readings) > 1 else ""
    return f"Reading{several} {', '.join(map(str, remark.readings))}: "
