"""The audibility table: a row for each kind of difference, its limits, how far it is from them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from statistics import NormalDist

from stagefx.hearing.grades import Grade, grade_of
from stagefx.hearing.thresholds import Limit, limits

RANGES_HZ = {"low end": (20.0, 80.0), "middle": (100.0, 8000.0), "high end": (8000.0, 16000.0)}
REFERENCE_HZ = (200.0, 5000.0)
"""Responses are told re the median third octave of this range."""

NOT_MEASURED = "not measured"
_SUREST = 1.0 - 1e-15
NEAR_FACTOR, NEAR_DB = 1.25, 2.0
"""A value within so much of a limit stands near it: about what two measurements differ by."""


@dataclass(frozen=True)
class AudibilityRow:
    """One kind of difference, set against hearing."""

    name: str
    value: float | None
    unit: str
    may: float
    will: float
    margin_db: float | None
    grade: Grade | None
    source: str
    floor: float | None = None
    at_hz: float | None = None
    direction: str = ""
    remark: str = ""
    sentence: str = ""


def margin_db(value: float, limit: Limit) -> float | None:
    """How far a value is from where it may be heard; None of a probability.

    ``20 log10(may / value)`` of a deviation, ``may - value`` of a level
    """
    if limit.scale == "probability":
        return None
    if limit.scale == "level":
        return limit.may - value
    return 20.0 * math.log10(limit.may / value) if value > 0.0 else math.inf


def judged_row(
    name: str,
    value: float,
    *,
    limit: Limit | None = None,
    floor: float | None = None,
    at_hz: float | None = None,
    direction: str = "",
    remark: str = "",
    sentence: str = "",
) -> AudibilityRow:
    """A row with a value, its margin and its grade; by other limits than the name's where given."""
    limit = limit or limits()[name]
    grade = grade_of(value, limit, floor=floor)
    return AudibilityRow(
        name, value, limit.unit, limit.may, limit.will, margin_db(value, limit), grade,
        _source(limit), floor, at_hz, direction, remark, sentence,
    )  # fmt: skip


def unjudged_row(name: str, remark: str) -> AudibilityRow:
    """A row without a value, which says why."""
    limit = limits()[name]
    return AudibilityRow(
        name, None, limit.unit, limit.may, limit.will, None, None, _source(limit), remark=remark
    )


def with_floor(row: AudibilityRow, floor: float) -> AudibilityRow:
    """A row graded again over what an instrument could have found, or its own floor if larger."""
    if row.value is None:
        return row
    larger = floor if row.floor is None else max(floor, row.floor)
    return replace(row, floor=larger, grade=grade_of(row.value, limit_of(row), floor=larger))


def limit_of(row: AudibilityRow) -> Limit:
    """The limit a row was judged by, which for a resonance is not its name's."""
    return replace(limits()[row.name], may=row.may, will=row.will)


def nudged(row: AudibilityRow, way: int) -> Grade | None:
    """The grade if the value were larger (way 1) or smaller (-1) by what counts as near."""
    if row.value is None or (row.floor is not None and row.value < row.floor):
        return row.grade
    scale = limits()[row.name].scale
    if scale == "level":
        moved = row.value + way * NEAR_DB
    elif scale == "probability":  # p = erf(d'/2): what is larger or smaller is d'
        inverse = NormalDist().inv_cdf(min(0.5 + 0.5 * row.value, _SUREST))
        moved = 2.0 * NormalDist().cdf(inverse * NEAR_FACTOR**way) - 1.0
    else:
        moved = row.value * NEAR_FACTOR**way
    return grade_of(moved, limit_of(row))


def _source(limit: Limit) -> str:
    return limit.source if limit.source.startswith(limit.kind) else f"{limit.kind}: {limit.source}"
