"""Headings, and texts from users' files made fit for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..lazy import printable

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table


def heading(console: Console, text: str) -> None:
    """Print a heading, set off by an empty line."""
    console.print()
    console.print(f"{text[:1].upper()}{text[1:]}", style="bold")


def sentence(text: str) -> str:
    """A text of a user's file on one line, without characters that would steer a terminal."""
    return printable(" ".join(text.split()))


def table(*widths: int, gap: int = 2) -> Table:
    """A table without lines or titles."""
    from rich.table import Table

    made = Table(box=None, show_header=False, pad_edge=False, padding=(0, gap, 0, 0))
    for width in widths:
        made.add_column(
            width=abs(width) or None, justify="right" if width < 0 else "left", overflow="fold"
        )
    return made
