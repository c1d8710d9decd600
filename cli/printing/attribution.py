"""What each effect contributes to a piece of music, printed for people."""

from __future__ import annotations

import math
import shlex
from typing import TYPE_CHECKING

from stagefx.render.attribution import Attribution, Contribution
from stagefx.report.text.numbers import amount, clock

from .words import heading, sentence, table

if TYPE_CHECKING:
    from rich.console import Console

LEAST_DB = -150.0
"""Below what 24 bits can hold."""
EVEN_DB = 1.0
"""What leaves hardly more at its loudest than on the whole is all through the music."""


def print_attribution(console: Console, found: Attribution, *, stage: str, music: str) -> None:
    """Print what each effect does to the music, alone and left out, and where most."""
    heading(console, "What each effect changes, re the music, at the same level")
    rows = table(14, -10, -10, 0)
    rows.add_row("", "alone", "left out", "  most of it")
    for row in found.contributions:
        rows.add_row(row.effect, _level(row.alone_db), _level(row.left_out_db), f"  {_where(row)}")
    rows.add_row("all together", _level(found.together_db), "", "")
    console.print(rows)
    if found.together_db == -math.inf:
        return
    if {"loading", "bandwidth"} & {row.effect for row in found.contributions}:
        console.print(
            "Phase and delay count as change here; they are most of what loading and bandwidth "
            "leave."
        )
    heard = shlex.join(["stagefx", "compare", "wire", stage, "--music", music])
    console.print(f"What would be heard: {sentence(heard)}", soft_wrap=True)


def _level(level_db: float) -> str:
    if level_db == math.inf:
        return "-"
    if level_db == -math.inf:
        return "nothing"
    return amount(level_db, "dB") if level_db >= LEAST_DB else f"< {LEAST_DB:.0f} dB"


def _where(row: Contribution) -> str:
    if row.loudest_s is None:
        return ""
    if row.alone_db == math.inf or row.loudest_db - row.alone_db < EVEN_DB:
        return "all through the music"
    return f"at {clock(row.loudest_s)}, {_level(row.loudest_db)} there"
