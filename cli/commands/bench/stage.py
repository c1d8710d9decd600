"""`stagefx bench stage`: meter and scope readings to a stage file."""

from __future__ import annotations

import click

from ... import options
from ...places import check_output


@click.command(short_help="Meter and scope readings to a stage file.")
@click.argument("readings")
@click.argument("out")
@options.force
@options.as_json
def command(readings: str, out: str, force: bool, as_json: bool) -> None:
    """Turn READINGS, a file of meter and scope readings, into the stage file OUT.

    Each part that is found carries its uncertainty as a tolerance, and says which reading it
    comes from; readings that look like a slip are remarked on.
    """
    if not out.endswith(".toml"):
        raise click.UsageError(f"'{out}' is no name for a stage file; let it end in .toml")
    from stagefx.bench.readings.derivation import stage_from_readings
    from stagefx.bench.readings.files import load_readings
    from stagefx.io.atomic_file import WholeFile

    from ...output import paper, print_json

    check_output(out, readings, force=force)
    found = stage_from_readings(load_readings(readings))
    with WholeFile(out, force=force) as whole:
        whole.file.write(found.as_toml().encode())
    if as_json:
        print_json(found.as_json())
    else:
        from ...printing.bench.stage import print_bench_stage

        print_bench_stage(paper(), found, out=out)
