"""Options that say how a stage lies on the bench."""

from __future__ import annotations

import click

knob = click.option(
    "--knob",
    type=click.FloatRange(0.0, 1.0),
    metavar="SHARE",
    help="Where the volume control stands, 0 to 1 of its travel; else where the stage says.",
)
load = click.option(
    "--load",
    metavar="OHM",
    help='What the stage drives, "600 ohm" for example; else its own load.',
)


def ohms(text: str | None) -> float | None:
    """A load as it was typed."""
    from stagefx.errors import UnitError
    from stagefx.units import parse

    if text is None:
        return None
    value = parse(text, "ohm").value
    if value <= 0.0:
        raise UnitError(f'"{text}" is no load; give a resistance above 0 ohm, like "600 ohm"')
    return value
