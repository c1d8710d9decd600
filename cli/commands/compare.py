"""`stagefx compare`: what changed, and whether it would be heard."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .. import options
from ..places import STANDARD_STREAM, check_music, check_output

if TYPE_CHECKING:
    from stagefx.audition.comparison import Comparison


@click.command(short_help="What changed between two, and whether it would be heard.")
@click.argument("first")
@click.argument("second")
@click.option("--music", metavar="FILE", help="Compare two stages, with this music.")
@click.option("--captured", is_flag=True, help="FIRST and SECOND are recordings of real stages.")
@click.option("--repeat", metavar="FILE", help="FIRST recorded once more: what the recorder does.")
@click.option("--loopback", metavar="FILE", help="The music through the recorder alone.")
@options.passage
@click.option(
    "--level-by",
    type=click.Choice(["gain", "loudness", "nothing"]),
    help="How levels are matched.  [default: nothing for files, gain for stages and recordings]",
)
@click.option("--residual", metavar="FILE", help="Write what is left after level and time.")
@options.plot
@options.listening_level
@options.room
@options.seed
@options.force
@options.as_json
def command(
    first: str,
    second: str,
    music: str | None,
    captured: bool,
    repeat: str | None,
    loopback: str | None,
    passage: tuple[float, float] | None,
    level_by: options.LevelBy | None,
    residual: str | None,
    picture: Path | None,
    listening_level_db: float,
    room_dba: float | str | None,
    seed: int,
    force: bool,
    as_json: bool,
) -> None:
    """Say what changed from FIRST to SECOND, and whether it would be heard.

    FIRST and SECOND are audio files; with --music they are stages: stage files, names from
    'stagefx catalogue', or 'wire'. With --captured they are recordings of real stages: the answer
    is a measured one, the recorder's faults come first, its level is corrected and said, and
    --repeat or --loopback (either means --captured) tell what the recorder does by itself.
    """
    recorded = captured or repeat is not None or loopback is not None
    if recorded and music is not None:
        raise click.UsageError(
            "--captured, --repeat and --loopback are for recordings, --music is for stages; "
            "leave one out"
        )
    if residual == "-":
        raise click.UsageError("--residual writes a file; standard output is for the result")
    if residual is not None:
        inputs = (first, second, music or "-", repeat or "-", loopback or "-")
        check_output(residual, *inputs, force=force)
    settings: dict[str, Any] = {"passage": passage, "residual": residual, "force": force}
    settings["listening_level_db"] = listening_level_db
    if room_dba != options.NOT_GIVEN:
        settings["room_dba"] = room_dba
    if picture is not None:
        from stagefx.report.plots.saving import check_place

        check_place(picture, force=force)
    if recorded:
        settings |= {"repeat": repeat, "loopback": loopback}
        found = _recordings(first, second, level_by=level_by or "gain", **settings)
    elif music is None:
        found = _files(first, second, level_by=level_by or "nothing", **settings)
    else:
        found = _stages(first, second, music, level_by=level_by or "gain", seed=seed, **settings)
    from ..output import paper, print_json
    from ..printing.compare import print_comparison

    if picture is not None:
        from stagefx.report.plots.hearing.comparison import draw_comparison
        from stagefx.report.plots.saving import save

        save(draw_comparison(found), picture, force=force)
    if as_json:
        print_json(found.as_json())
    else:
        print_comparison(paper(), found, residual=residual)


def _files(first: str, second: str, **settings: Any) -> Comparison:
    from ..stages import refuse_stages

    refuse_stages(first, second)
    check_music(first, second)
    from stagefx.audition.shortcuts import compare_files

    return compare_files(first, second, **settings)


def _recordings(first: str, second: str, **settings: Any) -> Comparison:
    from ..stages import refuse_stages

    places = [first, second, settings["repeat"], settings["loopback"]]
    given = [place for place in places if place is not None]
    refuse_stages(*given)
    if STANDARD_STREAM in given:
        raise click.UsageError("recordings are read many times over; give files, not '-'")
    check_music(*given)
    from stagefx.audition.captured import compare_captured

    return compare_captured(first, second, **settings)


def _stages(first: str, second: str, music: str, **settings: Any) -> Comparison:
    from stagefx.circuit.description.files import load_stage

    stages = load_stage(first), load_stage(second)
    check_music(music)
    from stagefx.audition.shortcuts import compare_stages

    return compare_stages(*stages, music, **settings)
