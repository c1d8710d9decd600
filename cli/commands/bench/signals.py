"""`stagefx bench signals`: test signals to play through a real stage."""

from __future__ import annotations

from pathlib import Path

import click

from ... import options


@click.command(short_help="Test signals to play through a real stage.")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--rate",
    "rate_hz",
    type=int,
    default=48000,
    show_default=True,
    metavar="HZ",
    help="Sampling rate of the signals, and of the recordings.",
)
@options.force
@options.as_json
def command(folder: Path, rate_hz: int, force: bool, as_json: bool) -> None:
    """Write test signals into FOLDER, named by what they are for, and a sheet on how to use them.

    Play each through the stage, record what comes out at the same rate, and give both to
    'stagefx bench measure'.
    """
    from stagefx.bench.signals.plan import test_signals
    from stagefx.bench.signals.writing import write_signals
    from stagefx.io.atomic_folder import whole_folder

    from ...output import paper, print_json, progress

    signals = test_signals(rate_hz)
    with whole_folder(folder, force=force) as place, progress("writing") as told:
        write_signals(place, rate_hz, progress=told)
    from ...printing.bench import signals as printing

    if as_json:
        print_json(printing.as_plain(folder, signals))
    else:
        printing.print_signals(paper(), folder, signals)
