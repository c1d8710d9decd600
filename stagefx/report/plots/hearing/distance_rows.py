"""The distance-to-hearing chart of a page: one row a kind of difference, the nearest first."""

from __future__ import annotations

import math
from dataclasses import dataclass

from stagefx.audition.comparison import Comparison
from stagefx.hearing.audibility import AudibilityRow
from stagefx.hearing.grades import Grade
from stagefx.report.text.margins import distance_db, floor_margin_db, margin_words, nearest_first
from stagefx.report.text.sentences import as_sentence

FARTHEST_DB, NEAREST_DB = -100.0, 20.0
_HALF_A_MARK = 5.0
WIDE = 240.0
"""Width of the chart in its own units."""
MARKS = {
    Grade.WILL: "filled",
    Grade.MAY: "half",
    Grade.SHOULD_NOT: "open",
    Grade.BELOW: "dash",
}


@dataclass(frozen=True)
class DistanceRow:
    """One row of the chart."""

    name: str
    x: float
    floor_x: float
    mark: str
    grade: str
    margin: str
    sentence: str


def heard_from_x() -> float:
    """Where the line “heard from here” stands."""
    return _x(0.0)


def distance_rows(found: Comparison) -> tuple[DistanceRow, ...]:
    """The rows of the chart."""
    return tuple(_row(row) for row in nearest_first(found.audibility) if row.grade is not None)


def _row(row: AudibilityRow) -> DistanceRow:
    assert row.grade is not None
    margin = margin_words(row)
    floor = floor_margin_db(row)
    return DistanceRow(
        row.name,
        min(max(_x(-distance_db(row)), _HALF_A_MARK), WIDE - _HALF_A_MARK),
        _x(-floor) if math.isfinite(floor) else 0.0,
        MARKS[row.grade],
        str(row.grade),
        margin,
        f"{as_sentence(row.name)}: {row.grade}; {margin}.",
    )


def _x(db: float) -> float:
    within = min(max(db, FARTHEST_DB), NEAREST_DB) if not math.isnan(db) else FARTHEST_DB
    return round(WIDE * (within - FARTHEST_DB) / (NEAREST_DB - FARTHEST_DB), 2)
