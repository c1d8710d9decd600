"""`stagefx bench fit`: a stage adjusted to what was measured."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from ... import bench_options, options
from ...places import check_output


@click.command(short_help="Adjust a stage to what was measured.")
@click.argument("stage")
@click.argument("measurement")
@click.argument("out")
@bench_options.load
@bench_options.knob
@click.option(
    "--also",
    nargs=2,
    multiple=True,
    metavar="FILE LOAD",
    help='A measurement of the same stage into another load: --also heavy.json "600 ohm".',
)
@options.plot
@options.force
@options.as_json
def command(
    stage: str,
    measurement: str,
    out: str,
    load: str | None,
    knob: float | None,
    also: tuple[tuple[str, str], ...],
    picture: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Adjust the free figures of STAGE to MEASUREMENT and write them into the stage file OUT.

    What the measurement does not determine stays as STAGE says, and is named. Comments of the
    stage file are kept. An output resistance needs measurements into two loads.
    """
    if not out.endswith(".toml"):
        raise click.UsageError(f"'{out}' is no name for a stage file; let it end in .toml")
    inputs = [stage, measurement, *(place for place, _ in also)]
    check_output(out, *inputs, force=force)
    if picture is not None:
        from stagefx.report.plots.saving import check_place

        check_place(picture, force=force)
    from stagefx.circuit.description.files import read_stage, stage_text

    text = stage_text(stage)
    described = read_stage(text, where=stage)
    loads = [bench_options.ohms(one) for one in (load, *(other for _, other in also))]
    from stagefx.bench.fit.adjust import fit_stage
    from stagefx.bench.fit.rounds import load_round

    places = [measurement, *(place for place, _ in also)]
    rounds = [
        load_round(place, load_ohm=ohm, knob=knob) for place, ohm in zip(places, loads, strict=True)
    ]
    if described.volume is None and knob is None:
        rounds = [replace(one, knob=None) for one in rounds]
    fitted = fit_stage(described, rounds)
    from stagefx.io.atomic_file import WholeFile

    from ...output import paper, print_json

    if picture is not None:
        from stagefx.report.plots.bench.fit import draw_fit
        from stagefx.report.plots.saving import save

        save(draw_fit(fitted), picture, force=force)
    with WholeFile(out, force=force) as whole:
        whole.file.write(fitted.as_toml(like=text).encode())
    if as_json:
        print_json(fitted.as_json())
    else:
        from ...printing.bench.fit import print_fit

        print_fit(paper(), fitted, out=out)
