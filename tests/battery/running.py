"""Cases made, compared and judged, on one core or more."""

from __future__ import annotations

import numpy as np

from stagefx.io.recording import HeldAudio
from tests.battery.case import Case, Pair
from tests.battery.found import Found, compare
from tests.battery.judging import Outcome, allowed, faults, named
from tests.battery.pieces import Piece

FULL = 0.99
"""Both files are scaled alike until nothing passes this."""


def recordings(pair: Pair) -> tuple[HeldAudio, HeldAudio]:
    """Both files, scaled alike."""
    peak = max(np.abs(pair.first).max(initial=0.0), np.abs(pair.second).max(initial=0.0))
    scale = min(1.0, FULL / peak) if peak > 0.0 else 1.0
    one = HeldAudio(scale * pair.first, pair.first_rate_hz, place="the first")
    return one, HeldAudio(scale * pair.second, pair.second_rate_hz, place="the second")


def compared(case: Case, pair: Pair, listening_db: float, *, swapped: bool = False) -> Found:
    """The pair as the program hears it."""
    one, other = recordings(pair)
    if swapped:
        one, other = other, one
    return compare(one, other, listening_db=listening_db, level_by=case.level_by)


def outcome(case: Case, piece: Piece, listening_db: float) -> Outcome | None:
    """One case on one piece; None where it does not fit the piece."""
    pair = case.make(case.setting(piece, listening_db))
    if pair is None:
        return None
    found = compared(case, pair, listening_db)
    wrong = list(faults(pair.want, found))
    if case.swapped:
        other = compared(case, pair, listening_db, swapped=True)
        if other.rank != found.rank:
            wrong.append(f"grade '{other.grade}' the other way round, '{found.grade}' this way")
    return Outcome(
        case=case.name,
        piece=piece.name,
        listening_db=listening_db,
        allowed=allowed(pair.want),
        given=found.grade,
        probability=found.probability,
        events=found.events,
        named=named(found),
        wrong=tuple(wrong),
        said=found.said,
    )


def outcomes(case: Case, piece: Piece) -> list[Outcome]:
    """One case on one piece at each of its levels."""
    given = (outcome(case, piece, level_db) for level_db in case.levels_db)
    return [one for one in given if one is not None]
