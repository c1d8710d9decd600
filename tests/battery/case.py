"""One row of the battery: how a second file is made, and what may and must be said of it."""

from __future__ import annotations

import re
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tests.battery.found import Edit, Found, Matching, Row
from tests.battery.pieces import Audio, Piece

BELOW, SHOULD, MAY, WILL = range(4)
AT_EAR_DB = 85.0

SPECTRUM = frozenset({"resonance", "low end", "middle", "high end"})
BETWEEN = frozenset({"inter-channel delay", "inter-channel phase"})
IN_TIME = frozenset({"edits", "exchange", "speed", "wow", "events"})
ROWS = SPECTRUM | BETWEEN | IN_TIME | {
    "level", "balance", "inter-channel level", "group delay", "remainder", "noise", "hum",
}  # fmt: skip
"""Each stands for one cause; the ear model is no cause and may be lit by any."""


@dataclass(frozen=True)
class Naming:
    """Something that must be told, and whether a comparison tells it."""

    what: str
    told: Callable[[Found], bool]


@dataclass(frozen=True)
class Want:
    """What may and must be said: grades from `least` to `most`, or, as `refused` has it, a refusal.

    `lit` holds the only rows that may be lit, where one cause lights one row.
    """

    least: int = BELOW
    most: int = WILL
    named: tuple[Naming, ...] = ()
    probability: float = 1.0
    lit: frozenset[str] = ROWS
    balance_within_db: float | None = None
    refused: Literal["never", "allowed", "must"] = "never"


INAUDIBLE = Want(BELOW, SHOULD)
UNLIKELY = Want(BELOW, MAY, probability=0.5)


@dataclass(frozen=True)
class Pair:
    """Two files and what is wanted of their comparison."""

    first: Audio
    second: Audio
    want: Want
    first_rate_hz: int
    second_rate_hz: int


@dataclass(frozen=True)
class Setting:
    """What a case is made from: the piece, the level at the ear, and a seeded source of chance."""

    piece: Piece
    listening_db: float
    random: np.random.Generator

    @property
    def audio(self) -> Audio:
        return self.piece.audio

    @property
    def rate_hz(self) -> int:
        return self.piece.rate_hz

    def pair(self, second: Audio, want: Want, *, first: Audio | None = None) -> Pair:
        one = self.audio if first is None else first
        return Pair(one, second, want, self.rate_hz, self.rate_hz)


Make = Callable[[Setting], Pair | None]


@dataclass(frozen=True)
class Case:
    """A row; `make` gives None where the piece has not what the case is about.

    `near` says that it is a variant of a row, run on fewer pieces. `only` names the pieces that it
    is run on in a short run, where a `slow` one is left out.
    """

    name: str
    make: Make
    levels_db: tuple[float, ...] = (AT_EAR_DB,)
    level_by: Matching = "nothing"
    near: bool = False
    slow: bool = False
    only: tuple[str, ...] = ()
    swapped: bool = False

    def setting(self, piece: Piece, listening_db: float) -> Setting:
        seed = [zlib.crc32(text.encode()) for text in (self.name, piece.name)]
        return Setting(piece, listening_db, np.random.default_rng(seed))


# --- what must be named -----------------------------------------------------------------------


def edit(
    *kinds: str, at_s: float | None = None, within_s: float = 0.1, length_s: float | None = None
) -> Naming:
    """A finding of one of these kinds, in its place, and as long as it is to 10 % or 1 ms."""

    def fits(found: Edit) -> bool:
        return (
            found.kind in kinds
            and (at_s is None or (found.at_s is not None and abs(found.at_s - at_s) <= within_s))
            and (
                length_s is None
                or (
                    found.length_s is not None
                    and abs(found.length_s - length_s) <= max(0.1 * length_s, 1e-3)
                )
            )
        )

    place = "" if at_s is None else f" at {at_s:.3f} s"
    length = "" if length_s is None else f" of {length_s:.4g} s"
    return Naming(
        f"edit '{' or '.join(kinds)}'{place}{length}",
        lambda found: any(fits(one) for one in found.edits),
    )


def lit(*names: str) -> Naming:
    """One of these rows may or will be heard."""
    return Naming(f"row '{' or '.join(names)}' lit", lambda found: bool(found.lit & {*names}))


def reads(name: str, low: float, high: float) -> Naming:
    """A row's value lies in between."""

    def told(found: Found) -> bool:
        value = found.rows.get(name, Row(None, None)).value
        return value is not None and low <= value <= high

    return Naming(f"row '{name}' from {low:g} to {high:g}", told)


def event(*places_s: float, within_s: float = 0.05, count: int = 1) -> Naming:
    """Events are counted, and one at least lies at one of these places."""
    where = " or ".join(f"{place:.3f}" for place in places_s[:3])
    return Naming(
        f"{count} or more events, one at {where} s",
        lambda found: (
            (found.events or 0) >= count
            and any(abs(at - place) <= within_s for at in found.events_s for place in places_s)
        ),
    )


def either(*namings: Naming) -> Naming:
    return Naming(
        " or ".join(one.what for one in namings),
        lambda found: any(one.told(found) for one in namings),
    )


def said(pattern: str) -> Naming:
    """The sentence, a remark or a row's remark says it."""
    return Naming(
        f"'{pattern}' said", lambda found: re.search(pattern, found.said, re.IGNORECASE) is not None
    )


def not_edit(*kinds: str) -> Naming:
    return Naming(
        f"no edit '{' or '.join(kinds)}'",
        lambda found: all(one.kind not in kinds for one in found.edits),
    )
