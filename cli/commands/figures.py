"""`stagefx figures`: everything on paper."""

from __future__ import annotations

from pathlib import Path

import click

from .. import options


@click.command(short_help="Everything on paper: level, response, headroom, noise, supply.")
@click.argument("stage")
@click.argument("second", required=False)
@click.option(
    "--spread",
    type=click.IntRange(min=100, max=1_000_000),
    metavar="N",
    help="Ranges as well, from N draws over part tolerances and device figures.",
)
@options.plot
@options.listening_level
@options.seed
@options.force
@options.as_json
def command(
    stage: str,
    second: str | None,
    spread: int | None,
    picture: Path | None,
    listening_level_db: float,
    seed: int,
    force: bool,
    as_json: bool,
) -> None:
    """Work out on paper what STAGE does, or set SECOND beside it.

    A stage is a stage file (.toml), a name from 'stagefx catalogue', or 'wire'.
    """
    from stagefx.circuit.description.files import load_stage
    from stagefx.figures.table import compute_figures
    from stagefx.report.plots.saving import check_place, save

    from ..output import paper, print_json
    from ..printing import figures as printing

    if picture is not None:
        check_place(picture, force=force)
    stages = [load_stage(place) for place in (stage, second) if place is not None]
    spreading = {} if spread is None else {"spread": spread, "seed": seed}
    worked = [
        compute_figures(one, listening_level_db=listening_level_db, **spreading) for one in stages
    ]
    if picture is not None:
        from stagefx.report.plots.stage.figures import draw_figures

        save(draw_figures(*worked), picture, force=force)
    if as_json:
        print_json(printing.as_plain(*worked))
    else:
        printing.print_figures(paper(), *worked)
