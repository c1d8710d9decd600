"""What is in a listening set, printed for people."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from stagefx.figures.cautions import CAUTIONS
from stagefx.report.listening.tracks import CARDS_NAME, PAGE_NAME

from .words import heading, sentence, table

if TYPE_CHECKING:
    from rich.console import Console

    from stagefx.report.listening.tracks import ListeningSet, Track


def print_listening_set(console: Console, made: ListeningSet, folder: Path) -> None:
    """Print what there is to hear, and with what care."""
    start, stop = made.passage.start_s, made.passage.stop_s
    console.print(f"To be heard: open {sentence(str(folder / PAGE_NAME))}", style="bold")
    console.print(f"{sentence(made.music)}, {start:.1f} to {stop:.1f} s. {made.passage.why}")
    heading(console, "What it plays, and what lies beside it")
    rows = table(34, 0)
    for track in made.tracks:
        rows.add_row(sentence(track.file), sentence(_told(track)))
    if made.cards:
        rows.add_row(f"{CARDS_NAME}/", f"{len(made.cards)} pictures of 1920 by 1080 dots")
    console.print(rows)
    if made.not_heard:
        heading(console, "Nothing to hear of")
        silent = table(13, 0)
        for one in made.not_heard:
            silent.add_row(one.effect, sentence(one.why))
        console.print(silent)
    console.print()
    if made.turned_up_db is not None:
        console.print(
            f"The difference is turned {'up' if made.turned_up_db >= 0.0 else 'down'} "
            f"{abs(made.turned_up_db):.0f} dB; {made.capped_by} is the cap."
        )
    for remark in made.remarks:
        console.print(sentence(remark))
    console.print(CAUTIONS["hearing"])
    console.print(
        "You know which is which, so what you hear is a lesson, not evidence; for that there is "
        "'stagefx blind prepare'."
    )


def _told(track: Track) -> str:
    if track.kind in {"baseline", "change"}:
        return f"{track.kind}: {track.title}"
    if track.kind in {"difference", "turned up"}:
        return f"the difference, {track.title}"
    return track.title
