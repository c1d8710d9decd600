"""`stagefx compare`: what changed, and whether it would be heard."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from .. import options
from ..places import check_music, check_output

if TYPE_CHECKING:
    from stagefx.hearing import Comparison


class Passage(click.ParamType):  # type: ignore[type-arg]  # generic from click 8.2.2 on
    """From where to where, in seconds, as ``12.0-22.0``."""

    name = "S-S"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        start, _, stop = str(value).partition("-")
        try:
            return float(start), float(stop)
        except ValueError:
            self.fail("write two times in seconds, like 12.0-22.0", param, ctx)


@click.command(short_help="What changed between two, and whether it would be heard.")
@click.argument("first")
@click.argument("second")
@click.option("--music", metavar="FILE", help="Compare two stages, with this music.")
@click.option("--passage", type=Passage(), help="Compare this stretch only, in seconds.")
@click.option(
    "--level-by",
    type=click.Choice(["gain", "loudness", "nothing"]),
    help="What a level match takes away.  [default: gain for stages, nothing for files]",
)
@click.option("--residue", metavar="FILE", help="Write what is left after level and time.")
@options.plot
@options.listening_level
@options.seed
@options.force
@options.as_json
def command(
    first: str,
    second: str,
    music: str | None,
    passage: tuple[float, float] | None,
    level_by: options.LevelBy | None,
    residue: str | None,
    picture: Path | None,
    listening_level_db: float,
    seed: int,
    force: bool,
    as_json: bool,
) -> None:
    """Say what changed from FIRST to SECOND, and whether it would be heard.

    FIRST and SECOND are audio files; with --music they are stages: stage files, names from
    'stagefx catalogue', or 'wire'.
    """
    if residue == "-":
        raise click.UsageError("--residue writes a file; standard output is for the result")
    if residue is not None:
        check_output(residue, first, second, music or "-", force=force)
    settings: dict[str, Any] = {"passage": passage, "residue": residue, "force": force}
    settings["listening_level_db"] = listening_level_db
    if picture is not None:
        from stagefx.evidence.saving import check_place

        check_place(picture, force=force)
    if music is None:
        found = _files(first, second, level_by=level_by or "nothing", **settings)
    else:
        found = _stages(first, second, music, level_by=level_by or "gain", seed=seed, **settings)
    from ..output import paper, print_json
    from ..printing.compare import print_comparison

    if picture is not None:
        from stagefx.evidence.comparison_picture import draw_comparison
        from stagefx.evidence.saving import save

        save(draw_comparison(found), picture, force=force)
    if as_json:
        print_json(found.as_json())
    else:
        print_comparison(paper(), found, residue=residue)


def _files(first: str, second: str, **settings: Any) -> Comparison:
    from stagefx.stage import ready_made

    for place in (first, second):
        if place.endswith(".toml") or place in {*ready_made(), "wire"}:
            raise click.UsageError(
                f"'{place}' is a stage; say with --music what to play through it"
            )
    check_music(first, second)
    from stagefx.hearing import compare_files

    return compare_files(first, second, **settings)


def _stages(first: str, second: str, music: str, **settings: Any) -> Comparison:
    from stagefx.stage import load_stage

    stages = load_stage(first), load_stage(second)
    check_music(music)
    from stagefx.hearing import compare_stages

    return compare_stages(*stages, music, **settings)
