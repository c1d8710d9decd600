"""How far a row of the audibility table is from where it may be heard, in words and as a place."""

from __future__ import annotations

import math

from stagefx.hearing.audibility import AudibilityRow, limit_of, margin_db
from stagefx.hearing.grades import Grade
from stagefx.hearing.thresholds import limits
from stagefx.hearing.wording import decibels, factor, probability


def margin_words(row: AudibilityRow) -> str:
    """How far a row is from where it may be heard, in words."""
    if row.value is None:
        return ""
    if row.grade is Grade.BELOW:
        return "below the noise floor"
    if row.margin_db is None:
        return (
            f"p {probability(row.value)}, {'over' if row.value >= row.may else 'under'} {row.may:g}"
        )
    if row.margin_db == math.inf:
        return "nothing there"
    if limits()[row.name].scale == "level":
        return f"{decibels(abs(row.margin_db))} {'to spare' if row.margin_db > 0.0 else 'over'}"
    if row.value >= row.may:
        return f"{factor(row.value / row.may)} the limit"
    return f"{factor(row.may / row.value)} to spare"


def distance_db(row: AudibilityRow) -> float:
    """How far a row is from where it may be heard, as a place on one scale for all rows."""
    if row.margin_db is not None:
        return row.margin_db
    return _ratio_db(row.may, row.value or 0.0)


def _ratio_db(may: float, value: float) -> float:
    return 20.0 * math.log10(may / value) if value > 0.0 else math.inf


def floor_margin_db(row: AudibilityRow) -> float:
    """How far the least that could have been found is from where it may be heard."""
    if row.floor is None:
        return math.inf
    found = margin_db(row.floor, limit_of(row))
    return _ratio_db(row.may, row.floor) if found is None else found


def nearest_first(audibility: tuple[AudibilityRow, ...]) -> list[AudibilityRow]:
    """The judged rows of an audibility table, the one nearest to being heard first."""
    judged = [row for row in audibility if row.grade is not None]
    return sorted(judged, key=lambda row: (-_rank(row), distance_db(row)))


def _rank(row: AudibilityRow) -> int:
    return -1 if row.grade is None else row.grade.rank
