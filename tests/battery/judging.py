"""Whether what was found is among what is wanted, and if not, what is wrong."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from tests.battery.case import Want
from tests.battery.found import SHORT, Found


@dataclass(frozen=True)
class Outcome:
    """One case on one piece at one level; right where nothing is wrong."""

    case: str
    piece: str
    listening_db: float
    allowed: str
    given: str
    probability: float
    events: int | None
    named: str
    wrong: tuple[str, ...]
    said: str = ""

    @property
    def right(self) -> bool:
        return not self.wrong


def allowed(want: Want) -> str:
    if want.refused == "must":
        return "refused"
    grades = SHORT[want.least : want.most + 1]
    return "any" if len(grades) == len(SHORT) else "|".join(grades)


def faults(want: Want, found: Found) -> Iterator[str]:
    """Everything in which a comparison is not as wanted."""
    if found.crashed:
        yield f"crashed: {found.said}"
        return
    if found.rank is None:
        if want.refused == "never":
            yield f"refused: {found.said}"
        return
    if want.refused == "must":
        yield f"not refused, but given '{found.grade}'"
        return
    if not want.least <= found.rank <= want.most:
        yield f"grade '{found.grade}', allowed {allowed(want)}"
    if found.probability > want.probability:
        yield f"p {found.probability:.2f} over {want.probability:g}"
    for naming in want.named:
        if not naming.told(found):
            yield f"not named: {naming.what}"
    for name in sorted(found.lit - want.lit):
        yield f"row '{name}' lit"
    within, balance = want.balance_within_db, found.balance_db
    if within is not None and balance is not None and abs(balance) > within:
        yield f"balance {balance:+.2f} dB"


def named(found: Found) -> str:
    """The findings and the rows that are lit, shortly."""
    edits = [
        one.kind + ("" if one.at_s is None else f" {one.at_s:.2f} s") for one in found.edits[:3]
    ]
    return "; ".join([*edits, *sorted(found.lit)])
