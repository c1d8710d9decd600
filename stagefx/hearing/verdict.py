"""The verdict: a grade and a sentence that says no more than the numbers under it.

The sentence says which of three it has, calculated, measured or heard blind; under what
conditions; and what would change it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from stagefx.hearing.audibility import NEAR_DB, NEAR_FACTOR, AudibilityRow, nudged as nudge
from stagefx.hearing.grades import Grade, together
from stagefx.hearing.thresholds import limits
from stagefx.hearing.wording import decibels, distance_of, quantity, size_of, subject

Basis = Literal["calculated", "measured", "heard blind"]
LevelBy = Literal["gain", "loudness", "nothing"]

QUIET_ROOM_DBA = 15.0
"""A very quiet room, such as a studio's: what it would turn is said."""
_SAID_WHOLLY = frozenset({"edits", "exchange", "balance"})
"""Rows whose sentence needs no limit beside it."""
_MATCHED = {
    "gain": "levels matched by gain",
    "loudness": "levels matched by loudness",
    "nothing": "levels as they are",
}


@dataclass(frozen=True)
class Conditions:
    """Under what a difference was judged."""

    basis: Basis
    listening_level_db: float
    music: str
    level_by: LevelBy
    change_db: float
    strained: tuple[str, ...] = ()
    remainder_db: float | None = None
    room_dba: float | None = None
    in_quieter_room: Grade | None = None
    named: tuple[str, ...] = ()

    @property
    def in_words(self) -> tuple[str, ...]:
        """Listening level, room, music, level match."""
        room = "without room noise" if self.room_dba is None else f"in a {self.room_dba:g} dBA room"
        return (
            f"at a listening level of {self.listening_level_db:g} dB {room}",
            f"with {self.music}",
            f"{_MATCHED[self.level_by]}, {decibels(abs(self.change_db))} apart",
        )


@dataclass(frozen=True)
class Flip:
    """What would change a verdict."""

    row: str | None
    value: float | None
    limit: float | None
    unit: str
    sentence: str


@dataclass(frozen=True)
class Verdict:
    """Whether a difference would be heard, and on what that rests."""

    grade: Grade
    sentence: str
    basis: Basis
    flips_at: Flip
    conditions: tuple[str, ...]
    not_judged: tuple[str, ...]
    near_limit: str = ""
    quieter_room: str = ""
    named: tuple[str, ...] = ()


def pass_verdict(audibility: Sequence[AudibilityRow], conditions: Conditions) -> Verdict:
    """Put the rows together and say what they come to.

    At least ``may be heard`` where nothing was judged, or where distortion was not.
    """
    judged = {row.name: row for row in audibility if row.grade is not None}
    found = together({name: grade for name, row in judged.items() if (grade := _counted(row))})
    distortion = "" if "remainder" in judged else _unjudged(audibility)
    lacking = found is None or (distortion and found.rank < Grade.MAY.rank)
    grade = Grade.MAY if lacking or found is None else found
    near = "" if lacking else _near_limit(judged, grade)
    quieter = _quieter_room(conditions, grade)
    nearest = min(judged.values(), key=_nearness, default=None)
    over = [row for row in judged.values() if row.grade and row.grade.rank >= Grade.MAY.rank]
    over.sort(key=_nearness)
    flip = _flip(over, nearest, distortion)
    not_judged = tuple(row.name for row in audibility if row.grade is None)
    parts = [
        f"In this set-up the difference {_grade_words(grade)}.",
        f"{', '.join((conditions.basis.capitalize(), *conditions.in_words))}.",
        _because(over, nearest),
        f"{' and '.join(conditions.strained).capitalize()}." if conditions.strained else "",
        f"Distortion was not judged: {distortion}." if distortion else _left(conditions),
        *conditions.named,
        near,
        quieter,
        f"Not judged: {', '.join(not_judged)}." if not_judged else "",
        flip.sentence,
    ]
    return Verdict(
        grade=grade,
        sentence=" ".join(part for part in parts if part),
        basis=conditions.basis,
        flips_at=flip,
        conditions=conditions.in_words,
        not_judged=not_judged,
        near_limit=near,
        quieter_room=quieter,
        named=conditions.named,
    )


def _near_limit(judged: Mapping[str, AudibilityRow], grade: Grade) -> str:
    """Whether a row stands so near a limit that another measurement might turn the grade."""
    counted = {name: found for name, row in judged.items() if (found := _counted(row))}
    for way, how in ((1, "more"), (-1, "less")):
        nudged = {name: nudge(judged[name], way) or found for name, found in counted.items()}
        other = together(nudged)
        turned = [judged[name] for name in counted if nudged[name] is not counted[name]]
        if other is None or other is grade or Grade.MAY.rank > max(other.rank, grade.rank):
            continue
        names = _and([subject(row.name) for row in sorted(turned, key=_nearness)])
        much = f"a factor of {NEAR_FACTOR:g}, or {NEAR_DB:g} dB, {how}"
        return f"That is near a limit: with {much} of {names} it {_grade_words(other)}."
    return ""


def _quieter_room(conditions: Conditions, grade: Grade) -> str:
    other = conditions.in_quieter_room
    if other is None or other.rank <= grade.rank or other.rank < Grade.MAY.rank:
        return ""
    return f"In a room of {QUIET_ROOM_DBA:g} dBA it {_grade_words(other)}."


def _counted(row: AudibilityRow) -> Grade | None:
    """A row's grade, as far as it counts: what was not measured finely enough is not heard."""
    if row.value is None or row.floor is None or row.value >= row.floor:
        return row.grade
    return Grade.MAY if row.grade is Grade.WILL else row.grade


def _unjudged(audibility: Sequence[AudibilityRow]) -> str:
    """Why the remainder has no grade."""
    return next((row.remark for row in audibility if row.name == "remainder"), "") or "not measured"


def _grade_words(grade: Grade) -> str:
    return f"is {grade}" if grade is Grade.BELOW else str(grade)


def _nearness(row: AudibilityRow) -> float:
    """The least for the row that is nearest to being heard, or farthest beyond."""
    if row.grade is Grade.BELOW or row.margin_db is None:
        return math.inf
    return row.margin_db


def _because(over: Sequence[AudibilityRow], nearest: AudibilityRow | None) -> str:
    if nearest is None:
        return "No row of the audibility table could be judged."
    if over:
        return " ".join(_reason(row) for row in over)
    if nearest.grade is Grade.BELOW:
        return "Every change that was looked for is smaller than 24-bit dither makes."
    found = f"Nearest to being heard is {subject(nearest.name)}: {size_of(nearest)}"
    if nearest.unit != "dB" or limits()[nearest.name].scale != "level":
        return f"{found}, where it may be heard from {quantity(nearest.may, nearest.unit)}."
    return f"{found}."


def _reason(row: AudibilityRow) -> str:
    if row.sentence:
        limit = f", where it may be heard from {quantity(row.may, row.unit)}."
        return row.sentence if row.name in _SAID_WHOLLY else row.sentence.removesuffix(".") + limit
    name = subject(row.name).capitalize()
    if row.value is not None and row.floor is not None and row.value < row.floor:
        return (
            f"{name} was not measured finely enough: {quantity(row.floor, row.unit)} could not "
            f"be told from none, and it may be heard from {quantity(row.may, row.unit)}."
        )
    return f"{name}: {size_of(row)}, where it may be heard from {quantity(row.may, row.unit)}."


def _left(conditions: Conditions) -> str:
    left = conditions.remainder_db
    if left is None or left == -math.inf:
        return ""
    return f"The distortion and noise residual is {decibels(-left)} below the music."


def _flip(over: Sequence[AudibilityRow], nearest: AudibilityRow | None, distortion: str) -> Flip:
    if over:
        row = over[0]
        names = _and([subject(one.name) for one in over])
        rest = ", and distortion would have to be judged" if distortion else ""
        return Flip(
            row.name, row.value, row.may, row.unit,
            f"{names.capitalize()} would have to come under the limit{'s' if len(over) > 1 else ''}"
            f" to alter this{rest}.",
        )  # fmt: skip
    if distortion or nearest is None:
        return Flip(None, None, None, "", "Judging the distortion, or a blind test, would tell.")
    if nearest.grade is Grade.BELOW:
        return Flip(None, None, None, "", "Only a change that can be measured would alter this.")
    much = distance_of(nearest)
    level = limits()[nearest.name].scale == "level"
    how = f"grow by {much}" if level else f"change {much} as much"
    return Flip(
        nearest.name, nearest.value, nearest.may, nearest.unit,
        f"{subject(nearest.name).capitalize()} would have to {how} to alter this.",
    )  # fmt: skip


def _and(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
