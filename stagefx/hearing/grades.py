"""The four grades, how a value gets one, and how grades are put together.

====================================  ===========================================================
``below what can be measured``        smaller than the floor, and the floor under the may-limit
``should not be heard``               under the may-limit
``may be heard``                      from the may-limit on
``will be heard``                     from the will-limit on
====================================  ===========================================================

The worst row decides.  A difference that will be heard takes two witnesses, a row of the ledger
and the ear model, both at their will-limits; noise and hum may alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import StrEnum

from stagefx.hearing.thresholds import Limit


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


ALONE = frozenset({"noise", "hum"})
"""Rows that need no second witness: what is over threshold and room in silence is heard."""
EAR_MODEL = "ear model"


def worst(grades: Iterable[Grade]) -> Grade | None:
    """The grade that decides.

    Parameters
    ----------
    grades : iterable of Grade
        Of all rows that were judged.

    Returns
    -------
    Grade or None
        The highest; None where nothing was judged.

    Examples
    --------
    >>> worst([Grade.SHOULD_NOT, Grade.MAY, Grade.BELOW]).value
    'may be heard'
    """
    return max(grades, key=lambda grade: grade.rank, default=None)


def grade_of(
    value: float,
    limit: Limit,
    *,
    floor: float | None = None,
) -> Grade:
    """The grade of one value.

    Parameters
    ----------
    value : float, in the limit's unit
        What was found; of a deviation its size.
    limit : Limit
        What it is set against.
    floor : float or None, in the limit's unit
        The least that could have been found; None where nothing limits it.

    Returns
    -------
    Grade
        Where the floor lies at or over the may-limit, not finer than the floor's own grade.

    Examples
    --------
    >>> from stagefx.hearing.thresholds import limits
    >>> [grade_of(db, limits()["level"], floor=0.01).value for db in (0.001, 0.1, 0.3)]
    ['below what can be measured', 'should not be heard', 'may be heard']
    >>> grade_of(0.1, limits()["level"], floor=0.4).value
    'may be heard'
    """
    if floor is not None and value < floor:
        if floor < limit.may:
            return Grade.BELOW
        value = floor
    if value >= limit.will:
        return Grade.WILL
    return Grade.MAY if value >= limit.may else Grade.SHOULD_NOT


def together(grades: Mapping[str, Grade]) -> Grade | None:
    """The grade that rows come to together.

    Parameters
    ----------
    grades : mapping of str to Grade
        Of all rows that were judged, by name.

    Returns
    -------
    Grade or None
        The worst; ``will be heard`` only by the ear model and another row at once, or by noise
        or hum.  None where nothing was judged.

    Examples
    --------
    >>> together({"high end": Grade.WILL, "ear model": Grade.MAY}).value
    'may be heard'
    >>> together({"high end": Grade.WILL, "ear model": Grade.WILL}).value
    'will be heard'
    """
    found = worst(grades.values())
    will = {name for name, grade in grades.items() if grade is Grade.WILL}
    if found is Grade.WILL and not (will & ALONE or (EAR_MODEL in will and len(will) > 1)):
        return Grade.MAY
    return found
