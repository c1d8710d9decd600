"""A pair through lossy coding, printed for people."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from .words import heading, sentence, table

if TYPE_CHECKING:
    from rich.console import Console

    from stagefx.audition.delivery import Apart, Delivery


def print_delivery(console: Console, found: Delivery) -> None:
    """Print what coding changes beside what was to be shown."""
    console.print(sentence(found.sentence), style="bold")
    start, stop = found.passage_s
    heading(console, f"From {start:.1f} to {stop:.1f} s, re the music")
    rows = table(20, -10, -12, -9, -9, -9)
    rows.add_row("", "measured", "it changes", "noticed", "alone", "pair")
    rows.add_row("the pair itself", "", *_two(found.pair), "", "")
    for one in found.delivered:
        rows.add_row(
            one.coding.name,
            f"{one.kbit_per_s:.0f} kbit/s",
            *_two(one.by_coding),
            _noticed(one.baseline),
            _noticed(one.after_coding),
        )
    console.print(rows)
    console.print(
        "Noticed: probability by the ear model that a coded version is told from the uncoded one. "
        "Alone: that two equal versions are told apart once both are coded, one of them shifted by "
        "part of a coder's frame: the coding's own doing. Pair: that the two versions are told "
        "apart once both are coded; only what clearly exceeds the coding alone has survived."
    )


def _two(apart: Apart) -> tuple[str, str]:
    left = "nothing" if apart.residual_db == -math.inf else f"{apart.residual_db:.1f} dB"
    return left, _noticed(apart)


def _noticed(apart: Apart) -> str:
    p = apart.detection_probability
    return "too short" if p is None else f"{p:.2f}"
