"""Figures on paper, printed for people: faults first, then group by group."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from stagefx.figures.table import DEFINITIONS, GROUPS, Figure, Figures
from stagefx.report.text.interpretation import yardstick
from stagefx.report.text.names import name_of
from stagefx.report.text.numbers import amount
from stagefx.report.text.side_by_side import Contrast, side_by_side

from .words import heading, sentence, table

if TYPE_CHECKING:
    from rich.console import Console

GOOD_NEWS_WHEN_MISSING = frozenset({"ringing_hz", "ultrasonic_v_rms", "ultrasonic_w"})
NAME_WIDTH, VALUE_WIDTH, RANGE_WIDTH = 27, 12, 15
BASIS = (
    "Calculated. At 1 kHz and from source to load where nothing else is said; full scale is "
    "the source's largest sine."
)


def as_plain(figures: Figures, second: Figures | None = None) -> dict[str, Any]:
    """Figures on paper as plain values."""
    if second is None:
        return figures.as_json()
    differences = [contrast.as_json() for contrast in side_by_side(figures, second)]
    return {"first": figures.as_json(), "second": second.as_json(), "differences": differences}


def print_figures(console: Console, figures: Figures, second: Figures | None = None) -> None:
    """Print what a stage does, on paper, or set two side by side."""
    if second is None:
        _print_one(console, figures)
    else:
        _print_two(console, figures, second)


def _print_one(console: Console, figures: Figures) -> None:
    _print_stage(console, figures)
    _print_faults(console, figures)
    spread = figures.draws > 0
    for group, keys in _groups(figures):
        heading(console, group)
        rows = table(NAME_WIDTH, -VALUE_WIDTH, *((RANGE_WIDTH,) if spread else ()), 0)
        for key in keys:
            figure = figures.figures[key]
            if figure.value is not None:
                between = (_range(figure),) if spread else ()
                value = amount(figure.value, figure.unit)
                rows.add_row(name_of(key), value, *between, yardstick(key, figures))
        if rows.row_count:
            console.print(rows)
        _print_missing(console, figures, keys)
    if spread:
        _print_what_widens(console, figures)
    console.print()
    console.print(f"{BASIS} {_spread_note(figures)}" if spread else BASIS)


def _print_two(console: Console, first: Figures, second: Figures) -> None:
    for ordinal, figures in (("First", first), ("Second", second)):
        _print_stage(console, figures, before=f"{ordinal}: ")
        _print_faults(console, figures)
        console.print()
    contrasts = side_by_side(first, second)
    console.print(_what_matters(contrasts), style="bold")
    by_key = {contrast.key: contrast for contrast in contrasts}
    for group, keys in _groups(first, second):
        heading(console, group)
        rows = table(NAME_WIDTH, -VALUE_WIDTH, -VALUE_WIDTH, 0)
        for key in keys:
            contrast = by_key[key]
            values = (contrast.first, contrast.second)
            cells = ["-" if v is None else amount(v, contrast.unit) for v in values]
            matters = f"{contrast.change}. Matters: {contrast.matters}"
            rows.add_row(name_of(key), *cells, matters if contrast.matters else contrast.change)
        console.print(rows)
    console.print()
    console.print(BASIS)


def _groups(*sheets: Figures) -> list[tuple[str, list[str]]]:
    """Group names with the keys that any of the sheets has, in printing order."""
    present = {key for sheet in sheets for key in sheet.figures}
    present -= {key for key in GOOD_NEWS_WHEN_MISSING & present if not _told(key, sheets)}
    pairs = [(g, [d.key for d in DEFINITIONS if d.group == g and d.key in present]) for g in GROUPS]
    return [(group, keys) for group, keys in pairs if keys]


def _told(key: str, sheets: tuple[Figures, ...]) -> bool:
    return any(key in sheet.figures and sheet.figures[key].value is not None for sheet in sheets)


def _print_missing(console: Console, figures: Figures, keys: list[str]) -> None:
    """Why there is no number, reason by reason; of a whole group, the reasons alone."""
    missing: dict[str, list[str]] = {}
    for key in keys:
        figure = figures.figures[key]
        if figure.value is None:
            missing.setdefault(figure.reason, []).append(name_of(key))
    if sum(map(len, missing.values())) == len(keys):
        console.print("; ".join(missing))
        return
    for reason, names in missing.items():
        console.print(f"{'; '.join(names)}: {reason}")


def _print_stage(console: Console, figures: Figures, *, before: str = "") -> None:
    console.print(f"{before}{sentence(figures.stage.name)}", style="bold")
    if figures.stage.notes:
        console.print(sentence(figures.stage.notes))
    if figures.knob_position is not None:
        console.print(f"The knob stands at {100.0 * figures.knob_position:.0f} % of its travel.")
    for remark in figures.remarks:
        console.print(sentence(remark))


def _print_faults(console: Console, figures: Figures) -> None:
    faults = figures.faults
    if not faults:
        return
    heading(console, "First, a fault" if len(faults) == 1 else "First, the faults")
    for fault in faults:
        console.print(f"{fault.code}: {sentence(fault.sentence)}")
    for caution in dict.fromkeys(fault.caution for fault in faults):
        console.print(f"Caution: {caution}")


def _what_matters(contrasts: tuple[Contrast, ...]) -> str:
    matter = [contrast for contrast in contrasts if contrast.matters]
    if not matter:
        return "On paper, nothing differs by enough to matter."
    count = "One difference matters" if len(matter) == 1 else f"{len(matter)} differences matter"
    return f"On paper, {count.lower()}: {', '.join(name_of(c.key) for c in matter)}."


def _range(figure: Figure) -> str:
    """The range, in the value's unit where that is how it comes out."""
    if figure.low is None or figure.high is None or figure.value is None:
        return ""
    ends = [amount(end, figure.unit).partition(" ") for end in (figure.low, figure.high)]
    unit = amount(figure.value, figure.unit).partition(" ")[2]
    if ends[0] == ends[1]:
        return ""
    if all(end[2] == unit for end in ends):
        return f"{ends[0][0]} to {ends[1][0]}"
    return " to ".join("".join(end) for end in ends)


def _print_what_widens(console: Console, figures: Figures) -> None:
    """Part by part, the figures whose range it widens most."""
    parts: dict[str, list[str]] = {}
    for key, figure in figures.figures.items():
        if figure.widest and _range(figure):
            parts.setdefault(figure.widest, []).append(name_of(key))
    if not parts:
        return
    heading(console, "What widens the ranges most")
    rows = table(NAME_WIDTH, 0)
    for part, names in sorted(parts.items(), key=lambda item: -len(item[1])):
        rows.add_row(part.replace(".", ", ").replace("_", " "), "; ".join(names))
    console.print(rows)


def _spread_note(figures: Figures) -> str:
    return (
        f"Ranges hold 90 % of {figures.draws:,} draws over part tolerances and device figures "
        f"(seed {figures.seed})."
    )
