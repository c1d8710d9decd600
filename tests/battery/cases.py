"""All rows of the battery, and the pieces each is run on."""

from __future__ import annotations

from functools import cache

from tests.battery import (
    rows_edits,
    rows_events,
    rows_mixed,
    rows_noise,
    rows_nulls,
    rows_spectrum,
    rows_stereo,
    rows_time,
)
from tests.battery.case import Case
from tests.battery.pieces import SAMPLES, TEXTURES, Piece

MODULES = (
    rows_nulls, rows_edits, rows_events, rows_spectrum, rows_stereo, rows_noise, rows_time,
    rows_mixed,
)  # fmt: skip
ROTATION = ("drums", "shared", "voice", "sparse", "trio", "wash", "solo")
"""Neighbours differ: in a run of minutes a row runs on one of them."""
ONE_IN = 2
"""Of the near rows, in a run of minutes: time against variants, which a whole run has all of."""


@cache
def all_cases() -> tuple[Case, ...]:
    return tuple(case for module in MODULES for case in module.cases())


def in_short_run(case: Case) -> bool:
    """Whether a run of minutes has room for it."""
    near = [one for one in all_cases() if one.near and not one.slow]
    return not case.slow and (not case.near or near.index(case) % ONE_IN == 0)


def fitting(case: Case, piece: Piece) -> bool:
    """Whether a piece has what a case is about."""
    return case.make(case.setting(piece, case.levels_db[0])) is not None


def short_run(case: Case, pieces: dict[str, Piece]) -> Piece:
    """The piece for a run of minutes: of those it names, or of all from its own number on."""
    number = all_cases().index(case)
    order = case.only or tuple(
        ROTATION[(3 * number + step) % len(ROTATION)] for step in range(len(ROTATION))
    )
    return next(pieces[name] for name in order if fitting(case, pieces[name]))


assert set(ROTATION) == {*SAMPLES, *TEXTURES}
