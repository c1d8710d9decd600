"""`stagefx delivery`: does the difference survive lossy coding."""

from __future__ import annotations

from typing import Any

import click

from .. import options
from ..places import check_music


@click.command(short_help="Does the difference survive lossy coding.")
@click.argument("first")
@click.argument("second")
@click.option("--music", metavar="FILE", help="Deliver two stages, with this music.")
@options.passage
@options.listening_level
@options.seed
@options.as_json
def command(
    first: str,
    second: str,
    music: str | None,
    passage: tuple[float, float] | None,
    listening_level_db: float,
    seed: int,
    as_json: bool,
) -> None:
    """Pass FIRST and SECOND through lossy coding, as an audience receives them.

    What the coding itself changes is set beside the difference of the two. FIRST and SECOND are
    audio files; with --music they are stages. The ten seconds in which the difference is most
    likely to be heard are used, unless --passage says otherwise.
    """
    settings: dict[str, Any] = {"listening_level_db": listening_level_db, "passage": passage}
    if music is None:
        from ..stages import refuse_stages

        refuse_stages(first, second)
        check_music(first, second)
        from stagefx.audition.shortcuts import deliver_files

        found = deliver_files(first, second, **settings)
    else:
        from stagefx.circuit.description.files import load_stage

        stages = load_stage(first), load_stage(second)
        check_music(music)
        from stagefx.audition.shortcuts import deliver_stages

        found = deliver_stages(*stages, music, seed=seed, **settings)
    from ..output import paper, print_json

    if as_json:
        print_json(found.as_json())
    else:
        from ..printing.delivery import print_delivery

        print_delivery(paper(), found)
