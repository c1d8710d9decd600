"""An answer, printed for people: the letter, and where the page is."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ..lazy import printable
from .words import heading

if TYPE_CHECKING:
    from rich.console import Console

    from stagefx.report.answer.results import Answer


def print_answer(console: Console, answer: Answer, folder: Path) -> None:
    """Print the letter, faults first, and where the page is."""
    letter = answer.letter
    if letter.faults:
        heading(console, "First, a fault")
        told = ""
        for fault in letter.faults:
            console.print(printable(f"In “{fault.stage}”: {fault.sentence}"))
            if fault.caution not in told:
                console.print(fault.caution)
            told += fault.caution
        console.print()
    console.print(printable(letter.headline.text), style="bold")
    if answer.follow_up is not None:
        console.print(printable(answer.follow_up.sentence))
    parts = {
        "How we know": letter.how_we_know,
        "Where it holds": letter.where_it_holds,
        "What would change it": letter.what_would_change_it,
    }
    for title, paragraph in parts.items():
        heading(console, title)
        console.print(printable(paragraph.text))
    for text in letter.cautions:
        console.print(text)
    from stagefx.report.answer.folder import file_names

    files = file_names(answer)
    console.print(f"\nThe page: {printable(str(folder / files[0]))}")
    console.print(f"Beside it: {', '.join(files[1:])}")
