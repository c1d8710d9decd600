"""The scenario's results as tables in its folder, and where to look for what."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stagefx.figures.cautions import CAUTIONS
from stagefx.report.answer.demonstration import CHANGES, PICTURE, Demonstration
from stagefx.report.text.margins import margin_words, nearest_first

from ..output import as_text, paper
from .compare import print_comparison
from .figures import print_figures
from .words import heading, table

if TYPE_CHECKING:
    from rich.console import Console

WHERE = (
    ("answer", "answer.html: would anybody hear the quick board? One page to show"),
    ("blind", "listen.html: a blind test of stock board and passive box"),
    ("blind-key.json", "its sealed key; 'stagefx blind score' wants it"),
    ("figures.txt", "what each stage does on paper, and two by two beside each other"),
    ("comparison.txt", "what changes on music, and whether it would be heard"),
    (PICTURE, "stock beside the passive box: response, noise, headroom"),
    ("music", "every piece through every stage, to listen to"),
    ("difference", "what is left of the first piece after level and time"),
    ("figures.json", "the same numbers, for programs"),
    ("comparison.json", "the same numbers, for programs"),
)


def write_tables(folder: Path, found: Demonstration) -> None:
    """Write the tables for people and for programs."""
    stock = found.figures["stock"]
    with (folder / "figures.txt").open("w", encoding="utf-8") as file:
        console = paper(file)
        for figures in found.figures.values():
            print_figures(console, figures)
            _rule(console)
        for change in CHANGES:
            print_figures(console, stock, found.figures[change])
            _rule(console)
    with (folder / "comparison.txt").open("w", encoding="utf-8") as file:
        console = paper(file)
        _print_summary(console, found)
        for (change, piece), comparison in found.comparisons.items():
            _rule(console)
            console.print(f"Stock against {CHANGES[change]}, {piece}", style="bold")
            console.print()
            print_comparison(console, comparison)
    on_paper = {name: one.as_json() for name, one in found.figures.items()}
    (folder / "figures.json").write_text(as_text(on_paper), encoding="utf-8")
    compared = {
        change: {p: one.as_json() for (c, p), one in found.comparisons.items() if c == change}
        for change in CHANGES
    }
    (folder / "comparison.json").write_text(as_text(compared), encoding="utf-8")


def as_plain(folder: Path, found: Demonstration) -> dict[str, Any]:
    """The verdicts as plain values."""
    verdicts = [
        {"change": change, "piece": piece, "grade": str(one.verdict.grade)}
        | {"sentence": one.verdict.sentence}
        for (change, piece), one in found.comparisons.items()
    ]
    return {"folder": str(folder), "verdicts": verdicts}


def print_where_to_look(console: Console, folder: Path, found: Demonstration) -> None:
    """Print the verdicts, and where the rest lies."""
    _print_summary(console, found)
    heading(console, f"Where to look, in {folder}{'' if str(folder).endswith('/') else '/'}")
    rows = table(26, 0)
    for name, what in WHERE:
        rows.add_row(f"{name}/" if (folder / name).is_dir() else name, what)
    console.print(rows)
    console.print()
    console.print(CAUTIONS["hearing"])


def _print_summary(console: Console, found: Demonstration) -> None:
    console.print("Quillmere Hall: would a change from the stock board be heard?", style="bold")
    for change, called in CHANGES.items():
        heading(console, f"{called}, in its place")
        rows = table(8, 20, 0)
        for row in _verdicts(found, change):
            rows.add_row(*row)
        console.print(rows)


def _verdicts(found: Demonstration, change: str) -> Iterator[tuple[str, str, str]]:
    for (changed, piece), comparison in found.comparisons.items():
        if changed == change:
            nearest = nearest_first(comparison.audibility)[:1]
            why = "".join(f"nearest: {row.name}, {margin_words(row)}" for row in nearest)
            yield piece, str(comparison.verdict.grade), why


def _rule(console: Console) -> None:
    console.print()
    console.print("-" * 72)
    console.print()
