"""`stagefx catalogue`: the ready-made stages and the classes of device."""

from __future__ import annotations

import click

from .. import options


@click.command(short_help="Ready-made stages and device classes.")
@click.argument("name", required=False)
@click.option("--schema", is_flag=True, help="Print the JSON schema of a stage file, for editors.")
@options.as_json
def command(name: str | None, schema: bool, as_json: bool) -> None:
    """List the ready-made stages and the classes of device, or print NAME in full.

    A ready-made stage is printed as a stage file, to be kept and changed:

        stagefx catalogue line-stage > my-stage.toml
    """
    if schema and name is not None:
        raise click.UsageError("--schema is that of every stage file; leave NAME out")
    from stagefx.circuit.description.files import stage_schema

    from ..output import paper, print_json
    from ..printing import catalogue

    if schema:
        click.echo(stage_schema(), nl=False)
    elif as_json:
        print_json(catalogue.contents() if name is None else catalogue.entry(name))
    elif name is None:
        catalogue.print_contents(paper())
    else:
        catalogue.print_entry(paper(), name)
