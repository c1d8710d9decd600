"""Stages where audio files are wanted, told in plain words."""

from __future__ import annotations

import click


def refuse_stages(*places: str, how: str = "--music FILE") -> None:
    """Refuse stages where no music was named to play through them.

    Parameters
    ----------
    *places : str
        What should be audio files.
    how : str
        How music is named.

    Raises
    ------
    click.UsageError
        One of them is a stage file or the name of a ready-made stage.
    """
    from stagefx.circuit.description.files import ready_made

    for place in places:
        if place.endswith(".toml") or place in {*ready_made(), "wire"}:
            raise click.UsageError(
                f"'{place}' is a stage; say what music to play through it ({how})"
            )
