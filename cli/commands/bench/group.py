"""`stagefx bench`: what meter, scope and recorder say of a real stage."""

from __future__ import annotations

import click

from ...lazy import LazyGroup


@click.command(
    cls=LazyGroup,
    command_names=("stage", "signals", "measure", "expect", "scope", "fit"),
    prefix="bench.",
    short_help="From bench readings to a stage.",
)
def command() -> None:
    """Turn what instruments say of a real stage into a description of it."""
