"""`stagefx listen`: hear what changed, knowing which is which."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from .. import options


@click.command(short_help="A sighted listening set: both versions, the difference, a player.")
@click.argument("first")
@click.argument("second")
@click.argument("rest", nargs=-1, required=True, metavar="[MUSIC] FOLDER")
@options.passage
@options.listening_level
@options.seed
@options.force
@options.as_json
def command(
    first: str,
    second: str,
    rest: tuple[str, ...],
    passage: tuple[float, float] | None,
    listening_level_db: float,
    seed: int,
    force: bool,
    as_json: bool,
) -> None:
    """Make a listening set of FIRST and SECOND in FOLDER, and one page that plays it.

    FIRST and SECOND are stages, with a piece of MUSIC between them and FOLDER; or audio files, and
    no MUSIC. Both play at one loudness; the difference is turned up, but capped; each effect of
    the stages is exaggerated. You know which is which, so it is a lesson, not a test: for that see
    'stagefx blind prepare'.
    """
    if len(rest) > 2:
        raise click.UsageError("give FIRST, SECOND, one piece of MUSIC for stages, and FOLDER")
    *music, folder = rest
    settings: dict[str, Any] = {"passage": passage, "listening_level_db": listening_level_db}
    settings |= {"seed": seed, "force": force}
    if music:
        from stagefx.circuit.description.files import load_stage
        from stagefx.report.listening.listening_set import listening_set_of_stages

        stages = load_stage(first), load_stage(second)
        made = listening_set_of_stages(*stages, music[0], folder, **settings)
    else:
        from stagefx.report.listening.listening_set import listening_set_of_files

        from ..stages import refuse_stages

        refuse_stages(first, second, how="MUSIC before FOLDER")
        made = listening_set_of_files(first, second, folder, **settings)
    from ..output import paper, print_json
    from ..printing.listen import print_listening_set

    if as_json:
        print_json({**made.as_json(), "folder": folder})
    else:
        print_listening_set(paper(), made, Path(folder))
