"""`stagefx margin`: how far each effect's cause would have to grow before it may be heard."""

from __future__ import annotations

from pathlib import Path

import click

from .. import options
from ..places import STANDARD_STREAM, check_music


@click.command(short_help="How much worse each effect could get before it may be heard.")
@click.argument("stage")
@click.argument("music")
@options.passage
@click.option("--whole", is_flag=True, help="Listen to the whole piece, not to ten seconds.")
@options.plot
@options.listening_level
@options.seed
@options.force
@options.as_json
def command(
    stage: str,
    music: str,
    passage: tuple[float, float] | None,
    whole: bool,
    picture: Path | None,
    listening_level_db: float,
    seed: int,
    force: bool,
    as_json: bool,
) -> None:
    """Say how far the cause of each effect of STAGE would have to grow before it may be heard.

    STAGE is a stage file, a name from 'stagefx catalogue', or 'wire'. The ten seconds of MUSIC in
    which the stage is most likely to be heard are used, unless --passage or --whole says otherwise.
    """
    if passage is not None and whole:
        raise click.UsageError("--passage and --whole cannot both be used; leave one of them out")
    if music == STANDARD_STREAM:
        raise click.UsageError("the music is played many times over; give a file, not '-'")
    if picture is not None:
        from stagefx.report.plots.saving import check_place

        check_place(picture, force=force)
    from stagefx.circuit.description.files import load_stage

    loaded = load_stage(stage)
    check_music(music)
    from stagefx.audition.shortcuts import margin

    found = margin(
        loaded,
        music,
        passage=passage,
        whole=whole,
        listening_level_db=listening_level_db,
        seed=seed,
    )
    if picture is not None:
        from stagefx.report.plots.hearing.margin import draw_margin
        from stagefx.report.plots.saving import save

        save(draw_margin(found), picture, force=force)
    from ..output import paper, print_json

    if as_json:
        print_json(found.as_json())
    else:
        from ..printing.margin import print_margin

        print_margin(paper(), found)
