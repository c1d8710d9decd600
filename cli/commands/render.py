"""`stagefx render`: music through a stage."""

from __future__ import annotations

from typing import Any

import click

from .. import options


class Factor(click.ParamType):  # type: ignore[type-arg]  # generic from click 8.2.2 on
    """An effect and by how much it is multiplied, as ``slew=8``."""

    name = "E=X"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        effect, equals, factor = str(value).partition("=")
        try:
            return effect.strip(), float(factor if equals else "")
        except ValueError:
            self.fail("write an effect and a number, like slew=8", param, ctx)


@click.command(short_help="Music through a stage, into a file.")
@click.argument("stage")
@click.argument("music")
@click.argument("out")
@click.option("--only", multiple=True, metavar="E", help="Leave all effects out but this one.")
@click.option("--without", multiple=True, metavar="E", help="Leave this effect out.")
@click.option("--times", multiple=True, type=Factor(), help="Multiply an effect: slew=8.")
@options.level_by
@click.option(
    "--bits",
    type=click.Choice(["16", "24", "float"]),
    default="24",
    show_default=True,
    help="Word length of the file.",
)
@options.listening_level
@options.seed
@options.force
@options.as_json
def command(
    stage: str,
    music: str,
    out: str,
    only: tuple[str, ...],
    without: tuple[str, ...],
    times: tuple[tuple[str, float], ...],
    level_by: options.LevelBy,
    bits: options.Bits,
    listening_level_db: float,
    seed: int,
    force: bool,
    as_json: bool,
) -> None:
    """Play MUSIC through STAGE into the file OUT.

    MUSIC is any audio file, or '-' for WAV on standard input; OUT is a file whose ending says
    what kind (.wav, .flac, ...), or '-' for WAV on standard output.

    Effects: loading, bandwidth, slew, clip, curvature, noise, hum, interchannel, offset,
    oscillation. --only, --without and --times may be given more than once.
    """
    if as_json and out == "-":
        raise click.UsageError("--json and OUT '-' both want standard output; name a file")
    from stagefx.stage import load_stage

    from ..output import paper, print_json, progress
    from ..places import check_music, check_output

    described = load_stage(stage)
    check_music(music)
    check_output(out, stage, music, force=force)
    from stagefx.effects.render import render

    with progress("rendering") as told:
        report = render(
            described,
            music,
            out,
            only=only,
            without=without,
            times=dict(times),
            level_by=level_by,
            bits=bits,
            seed=seed,
            force=force,
            listening_level_db=listening_level_db,
            progress=told,
        )
    if as_json:
        print_json(report.as_json())
    elif out != "-":
        from ..printing.render import print_report

        print_report(paper(), report.as_json(), stage=described.name, out=out)
