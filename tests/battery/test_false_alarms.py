"""Of a hundred inaudible pairs at most two may be heard, and none will."""

from __future__ import annotations

from tests.battery.case import MAY, SHOULD
from tests.battery.false_alarms import FEW, KINDS, PAIRS, pairs
from tests.knocks.counts import WHOLE

ALLOWED = 2
"""Of all pairs; a short run's third may hold one of them."""
LONG = range(0, len(KINDS), 3)


def told(numbers: range, *, long: bool) -> tuple[list[str], list[str]]:
    """What may be heard, and what will be, was refused or ended in an error."""
    may, worse = [], []
    for what, found in pairs(numbers, long=long):
        line = f"{what}: {found.grade}, {sorted(found.lit)} {'' if found.rank else found.said}"
        if found.rank == MAY:
            may.append(line)
        elif found.rank is None or found.rank > SHOULD:
            worse.append(line)
    return may, worse


def test_inaudible_pairs_are_not_heard() -> None:
    may, worse = told(range(PAIRS) if WHOLE else FEW, long=False)
    assert not worse, "\n".join(worse)
    assert len(may) <= (ALLOWED if WHOLE else ALLOWED // 2), "\n".join(may)


def test_long_inaudible_pairs_are_not_heard() -> None:
    """One to four minutes: what is greatest over time grows with the time."""
    may, worse = told(LONG if WHOLE else range(1), long=True)
    assert not worse, "\n".join(worse)
    assert not may, "\n".join(may)
