"""`stagefx bench measure`: what a recording of a test signal says of a real stage."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from ... import options
from ...places import check_output


class FullScale(click.ParamType):  # type: ignore[type-arg]  # generic from click 8.2.2 on
    """Volts of a full-scale sine: a plain number of volts rms, or a text with its unit."""

    name = "V"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        from stagefx.errors import UnitError
        from stagefx.units import parse

        try:
            return float(value)
        except ValueError:
            pass
        try:
            return parse(str(value), "V rms").value
        except UnitError as error:
            self.fail(str(error), param, ctx)


@click.command(short_help="Recordings of test signals to figures of the stage.")
@click.argument("played")
@click.argument("captured")
@click.option("--loopback", metavar="FILE", help="The same recorded without the stage.")
@click.option("--repeat", metavar="FILE", help="The same through the stage, recorded once more.")
@click.option(
    "--played-full-scale",
    "played_v",
    type=FullScale(),
    help="Volts rms of a full-scale sine as it enters the stage.",
)
@click.option(
    "--captured-full-scale",
    "captured_v",
    type=FullScale(),
    help="Volts rms of a sine that the recorder takes as full scale.",
)
@click.option(
    "--channel",
    type=click.Choice(["left", "right"]),
    default="left",
    show_default=True,
    help="Whose figures are told.",
)
@click.option("--save", metavar="M.json", help="Keep the measurement as a file.")
@options.plot
@options.force
@options.as_json
def command(
    played: str,
    captured: str,
    loopback: str | None,
    repeat: str | None,
    played_v: float | None,
    captured_v: float | None,
    channel: str,
    save: str | None,
    picture: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Measure a stage: PLAYED is a test signal, CAPTURED what was recorded behind the stage.

    Both may be folders: of the signals, and of recordings that are called like them. What was
    recorded without the stage (--loopback) shows how far the instrument itself sees.
    """
    inputs = [place for place in (played, captured, loopback, repeat) if place is not None]
    if save is not None:
        if not save.endswith(".json"):
            raise click.UsageError(f"'{save}' is no name for a measurement; let it end in .json")
        check_output(save, *inputs, force=force)
    if picture is not None:
        from stagefx.report.plots.saving import check_place

        check_place(picture, force=force)
    from stagefx.bench.measure.analysis import CHANNELS
    from stagefx.bench.measure.files import measure_files

    from ...output import as_text, paper, print_json

    found = measure_files(
        played,
        captured,
        channel=CHANNELS.index(channel),
        played_full_scale_v=played_v,
        captured_full_scale_v=captured_v,
        loopback=loopback,
        repeat=repeat,
    )
    if picture is not None:
        from stagefx.report.plots.bench.measurement import draw_measurement
        from stagefx.report.plots.saving import save as save_picture

        save_picture(draw_measurement(found), picture, force=force)
    if save is not None:
        from stagefx.io.atomic_file import WholeFile

        with WholeFile(save, force=force) as whole:
            whole.file.write(as_text(found.as_json()).encode())
    if as_json:
        print_json(found.as_json())
    else:
        from ...printing.bench.measure import print_measurement

        print_measurement(paper(), found, saved=save)
