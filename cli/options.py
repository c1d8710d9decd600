"""Options that mean the same in every command that has them."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal

import click

as_json = click.option(
    "--json", "as_json", is_flag=True, help="Print one JSON object instead of a table."
)
force = click.option("--force", is_flag=True, help="Overwrite what is there already.")
seed = click.option(
    "--seed",
    type=click.IntRange(min=0),
    metavar="N",
    default=0,
    show_default=True,
    help="Where the dice of the calculation start; the same seed gives the same numbers.",
)
listening_level = click.option(
    "--listening-level",
    "listening_level_db",
    type=click.FloatRange(0.0, 120.0),
    default=85.0,
    show_default=True,
    metavar="DB",
    help="Sound level at the seat while the music plays, in dB.",
)
plot = click.option(
    "--plot",
    "picture",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Draw it as well, into a .png, .svg or .pdf file.",
)


class RoomNoise(click.ParamType):  # type: ignore[type-arg]  # generic from click 8.2.2 on
    """Noise of a room in dBA, or ``none`` for a room that hides nothing."""

    name = "DBA|none"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        if value == NOT_GIVEN:
            return value
        if str(value).lower() == "none":
            return None
        try:
            room = float(str(value).removesuffix("dBA").strip())
        except ValueError:
            room = float("nan")
        if not 0.0 <= room <= 80.0:
            self.fail("write the room's noise in dBA, from 0 to 80, or none", param, ctx)
        return room


NOT_GIVEN = "not given"
room = click.option(
    "--room",
    "room_dba",
    type=RoomNoise(),
    default=lambda: NOT_GIVEN,
    metavar="DBA|none",
    help="Noise of the room in dBA, or none.  [default: as the stage describes it, else 30]",
)
LevelBy = Literal["gain", "loudness", "nothing"]
Bits = Literal["16", "24", "float"]

level_by = click.option(
    "--level-by",
    type=click.Choice(["gain", "loudness", "nothing"]),
    default="gain",
    show_default=True,
    help="Undo the stage's gain at 1 kHz, match loudness, or keep the volts.",
)
protocol = click.option(
    "--protocol",
    type=click.Choice(["abx", "same-different", "preference", "triangle", "triple"]),
    default="abx",
    show_default=True,
    help="What a trial plays and asks.",
)


class Passage(click.ParamType):  # type: ignore[type-arg]  # generic from click 8.2.2 on
    """From where to where, in seconds, as ``12.0-22.0``."""

    name = "S-S"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        start, _, stop = str(value).partition("-")
        try:
            return float(start), float(stop)
        except ValueError:
            self.fail("write two times in seconds, like 12.0-22.0", param, ctx)


passage = click.option(
    "--passage", type=Passage(), metavar="S-S", help="Use this stretch only, in seconds."
)
