"""Stages where audio files are wanted, told in plain words."""

from __future__ import annotations

import click


def refuse_stages(*places: str, how: str = "--music FILE") -> None:
    """Refuse stages where no music was named to play through them."""
    from stagefx.circuit.description.files import ready_made

    for place in places:
        if place.endswith(".toml") or place in {*ready_made(), "wire"}:
            raise click.UsageError(
                f"'{place}' is a stage; say what music to play through it ({how})"
            )
