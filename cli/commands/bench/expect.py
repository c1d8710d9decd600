"""`stagefx bench expect`: what the bench should show of a modelled stage."""

from __future__ import annotations

from pathlib import Path

import click

from ... import bench_options, options
from ...places import check_output


@click.command(short_help="What the bench should show of a modelled stage.")
@click.argument("stage")
@click.option(
    "--rate",
    "rate_hz",
    type=int,
    default=48000,
    show_default=True,
    metavar="HZ",
    help="Of the test signals; 96000 or 192000 show more of a quick amplifier, and take longer.",
)
@bench_options.knob
@bench_options.load
@click.option("--save", metavar="M.json", help="Keep the measurement as a file.")
@options.plot
@options.seed
@options.force
@options.as_json
def command(
    stage: str,
    rate_hz: int,
    knob: float | None,
    load: str | None,
    save: str | None,
    picture: Path | None,
    seed: int,
    force: bool,
    as_json: bool,
) -> None:
    """Tell what the bench should show of STAGE: recorder and scope, square waves included.

    The test signals of 'stagefx bench signals' are played through the model and measured by the
    code that measures recordings, so that the two can be laid side by side.
    """
    if save is not None:
        if not save.endswith(".json"):
            raise click.UsageError(f"'{save}' is no name for a measurement; let it end in .json")
        check_output(save, stage, force=force)
    if picture is not None:
        from stagefx.report.plots.saving import check_place

        check_place(picture, force=force)
    from stagefx.circuit.description.files import load_stage

    described = load_stage(stage)
    load_ohm = bench_options.ohms(load)
    from stagefx.bench.expectation import expect

    from ...output import as_text, paper, print_json, progress

    with progress("measuring") as told:
        expected = expect(
            described, rate_hz=rate_hz, knob=knob, load_ohm=load_ohm, seed=seed, progress=told
        )
    if picture is not None:
        from stagefx.report.plots.bench.expectation import draw_expectation
        from stagefx.report.plots.saving import save as save_picture

        save_picture(draw_expectation(expected), picture, force=force)
    if save is not None:
        from stagefx.io.atomic_file import WholeFile

        with WholeFile(save, force=force) as whole:
            whole.file.write(as_text(expected.as_json()).encode())
    if as_json:
        print_json(expected.as_json())
    else:
        from ...printing.bench.expect import print_expectation

        print_expectation(paper(), expected, saved=save)
