"""`stagefx bench scope`: what a table of times and volts tells."""

from __future__ import annotations

from pathlib import Path

import click

from ... import options


@click.command(short_help="Clip levels, slew, rise time, overshoot, tilt from a scope's table.")
@click.argument("trace")
@click.option("--time-column", metavar="C", help="Name, or number from 1; found out if left out.")
@click.option("--volts-column", metavar="C", help="The same for the volts.")
@click.option(
    "--volts-scale",
    type=float,
    default=1.0,
    metavar="X",
    help="Multiply the volts: the probe's factor, where the scope was not told of it.",
)
@click.option(
    "--generator",
    metavar="TIME",
    help="The generator's own rise time, \"20 ns\" for example, to be taken out of the edge's.",
)
@options.plot
@options.force
@options.as_json
def command(
    trace: str,
    time_column: str | None,
    volts_column: str | None,
    volts_scale: float,
    generator: str | None,
    picture: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Tell what TRACE shows, a table of times and volts of any layout.

    Header lines are skipped; delimiter, decimal comma and columns are found out. A square wave, a
    single step, a sine and a clipped sine are told apart by themselves.
    """
    from stagefx.bench.scope.interpretation import read_scope
    from stagefx.bench.scope.tables import load_trace
    from stagefx.units import parse

    from ...output import paper, print_json

    generator_s = None if generator is None else parse(generator, "s").value
    if generator_s is not None and generator_s <= 0.0:
        raise click.UsageError(
            f"'{generator}' is no rise time; give one above 0 s, or leave it out"
        )
    if picture is not None:
        from stagefx.report.plots.saving import check_place

        check_place(picture, force=force)
    read = load_trace(
        trace, time_column=time_column, volts_column=volts_column, volts_scale=volts_scale
    )
    told = read_scope(read, generator_s=generator_s, where=trace)
    if picture is not None:
        from stagefx.report.plots.bench.scope import draw_scope
        from stagefx.report.plots.saving import save

        save(draw_scope(told, name=Path(trace).name), picture, force=force)
    if as_json:
        print_json(told.as_json())
    else:
        from ...printing.bench.scope import print_scope

        print_scope(paper(), told, name=trace)
