"""The four grades, how a value gets one, and how grades are put together.

====================================  ===========================================================
``below what can be measured``        smaller than the floor, and the floor under the may-limit
``should not be heard``               under the may-limit
``may be heard``                      from the may-limit on
``will be heard``                     from the will-limit on
====================================  ===========================================================

The worst row decides.  A steady difference that will be heard takes two witnesses, a row of the
audibility table and the ear model, both at their will-limits; rows that are marked so decide alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import StrEnum

from stagefx.hearing.thresholds import Limit, limits


class Grade(StrEnum):
    """How a difference stands to hearing."""

    BELOW = "below what can be measured"
    SHOULD_NOT = "should not be heard"
    MAY = "may be heard"
    WILL = "will be heard"

    @property
    def rank(self) -> int:
        """Place in the order of the grades, from 0 for the least."""
        return list(Grade).index(self)


EAR_MODEL = "ear model"


def worst(grades: Iterable[Grade]) -> Grade | None:
    """The grade that decides: the highest, None where nothing was judged."""
    return max(grades, key=lambda grade: grade.rank, default=None)


def grade_of(value: float, limit: Limit, *, floor: float | None = None) -> Grade:
    """The grade of one value, in the limit's unit; of a deviation its size.

    Where the floor lies at or over the may-limit, it is not finer than the floor's own grade.
    """
    if floor is not None and value < floor:
        if floor < limit.may:
            return Grade.BELOW
        value = floor
    if value >= limit.will:
        return Grade.WILL
    return Grade.MAY if value >= limit.may else Grade.SHOULD_NOT


def together(grades: Mapping[str, Grade]) -> Grade | None:
    """The grade that rows, by name, come to together; None where nothing was judged."""
    found = worst(grades.values())
    will = {name for name, grade in grades.items() if grade is Grade.WILL}
    alone = any(limits()[name].alone for name in will)
    if found is Grade.WILL and not (alone or (EAR_MODEL in will and len(will) > 1)):
        return Grade.MAY
    return found
