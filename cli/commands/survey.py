"""`stagefx survey`: a whole collection through a stage."""

from __future__ import annotations

from pathlib import Path

import click

from .. import options


@click.command(short_help="A whole collection: how often does anything happen.")
@click.argument("stage")
@click.argument("music_folder")
@click.option(
    "--out",
    metavar="FILE.jsonl",
    help="Keep each result as it comes; the same command again goes on where it stopped.",
)
@click.option(
    "--full",
    is_flag=True,
    help="Render each piece too, and judge by the ear model whether STAGE is told from a wire.",
)
@click.option(
    "--knob",
    type=click.FloatRange(0.0, 1.0),
    metavar="SHARE",
    help="The fixed position of the volume control, 0 to 1 of its travel; else where the stage "
    "has it, or full.",
)
@click.option(
    "--jobs",
    type=click.IntRange(min=1),
    metavar="N",
    help="How many pieces at a time; else as many as there are cores.",
)
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Use the Dask cluster whose scheduler answers at tcp://HOST:PORT; its workers must see "
    "the music under the same paths.",
)
@options.listening_level
@options.plot
@options.force
@options.as_json
def command(
    stage: str,
    music_folder: str,
    out: str | None,
    full: bool,
    knob: float | None,
    jobs: int | None,
    scheduler: str | None,
    listening_level_db: float,
    picture: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Find out in how many pieces under MUSIC_FOLDER anything happens in STAGE.

    Every audio file below the folder is played through STAGE up to the amplifier's limits:
    loudness, true peak, steepest slope, headroom, and the share that clips, with the knob fixed
    and where each piece plays at the listening level. Symbolic links are not followed. A file
    that cannot be read is told of, and the survey goes on.
    """
    if scheduler is not None and jobs is not None:
        raise click.UsageError("--jobs is for this machine's cores; leave it out with --scheduler")
    if out == "-":
        raise click.UsageError("--out keeps a file to go on with; name one, or use --json")
    if picture is not None:
        from stagefx.report.plots.saving import check_place

        check_place(picture, force=force)
    from stagefx.circuit.description.files import load_stage

    described = load_stage(stage)
    if out is not None:
        from stagefx.io.atomic_file import refuse_same_file

        refuse_same_file(out, stage, *([] if picture is None else [picture]))
    from stagefx.survey.survey import survey_folder

    from ..output import paper, print_json, progress

    with progress("surveying") as told:
        found = survey_folder(
            described, music_folder, out=out, full=full, knob=knob, jobs=jobs,
            listening_level_db=listening_level_db, scheduler=scheduler, force=force,
            progress=told,
        )  # fmt: skip
    if picture is not None:
        from stagefx.report.plots.hearing.survey import draw_survey
        from stagefx.report.plots.saving import save

        from ..printing.survey import picture_of

        save(draw_survey(picture_of(found)), picture, force=force)
    if as_json:
        print_json(found.as_json())
    else:
        from ..printing.survey import print_survey

        print_survey(paper(), found, out=out)
