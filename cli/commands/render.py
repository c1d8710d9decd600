"""`stagefx render`: music through a stage."""

from __future__ import annotations

from itertools import chain
from typing import Any

import click

from .. import options
from ..places import is_audio


class Factor(click.ParamType):  # type: ignore[type-arg]  # generic from click 8.2.2 on
    """An effect and by how much it is multiplied, as ``slew=8``."""

    name = "E=X"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        effect, equals, factor = str(value).partition("=")
        try:
            return effect.strip(), float(factor if equals else "")
        except ValueError:
            self.fail("write an effect and a number, like slew=8", param, ctx)


class Effects(click.ParamType):  # type: ignore[type-arg]  # generic from click 8.2.2 on
    """One effect, or several with commas between them."""

    name = "E"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:  # noqa: ARG002
        return [name for each in str(value).split(",") if (name := each.strip())]


@click.command(short_help="Music through a stage, into a file.")
@click.argument("stage")
@click.argument("music")
@click.argument("out")
@click.option("--only", multiple=True, type=Effects(), help="Leave all effects out but this one.")
@click.option("--without", multiple=True, type=Effects(), help="Leave this effect out.")
@click.option("--times", multiple=True, type=Factor(), help="Multiply an effect: slew=8.")
@click.option(
    "--attribution", is_flag=True, help="Tell what each effect changes, alone and left out."
)
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
    only: tuple[list[str], ...],
    without: tuple[list[str], ...],
    times: tuple[tuple[str, float], ...],
    attribution: bool,
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

    Effects: loading, bandwidth, slew, clip, distortion, noise, hum, crosstalk, offset,
    oscillation. --only, --without and --times may be given more than once;
    --only slew,clip is short for --only slew --only clip.
    """
    if as_json and out == "-":
        raise click.UsageError("--json and OUT '-' both want standard output; name a file")
    if attribution and "-" in {music, out}:
        raise click.UsageError(
            "--attribution goes through MUSIC twice and prints a table; name files, not '-'"
        )
    named = [effect for effect, _ in times]
    for effect in {effect for effect in named if named.count(effect) > 1}:
        raise click.UsageError(f"--times names {effect} more than once; give one factor")
    if is_audio(stage) and not is_audio(music):
        raise click.UsageError(f"'{stage}' is no stage; the order is STAGE, MUSIC, OUT")
    from stagefx.circuit.description.files import load_stage

    from ..output import paper, print_json, progress
    from ..places import check_music, check_output

    described = load_stage(stage)
    check_music(music)
    check_output(out, stage, music, force=force)
    chosen: dict[str, Any] = {"times": dict(times)}
    chosen |= {"only": list(chain(*only)), "without": list(chain(*without))}
    chosen |= {"seed": seed, "listening_level_db": listening_level_db}
    found = None
    if attribution:
        from stagefx.render.attribution import attribute

        with progress("taking effects apart") as told:
            found = attribute(described, music, progress=told, **chosen)
    from stagefx.render.rendering import render_file

    written: dict[str, Any] = {"level_by": level_by, "bits": bits, "force": force}
    written |= {"programme_db": found.programme_db} if found else {}
    with progress("rendering") as told:
        report = render_file(described, music, out, progress=told, **written, **chosen)
    plain = report.as_json()
    if as_json:
        print_json(plain if found is None else plain | {"attribution": found.as_json()})
    elif out != "-":
        from ..printing.attribution import print_attribution
        from ..printing.render import print_report

        print_report(paper(), plain, stage=described.name, out=out)
        if found is not None:
            print_attribution(paper(), found, stage=stage, music=music)
