"""How far the cause of each effect would have to grow before the effect may be heard."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from stagefx.audition.evaluation import frames_of, name_of
from stagefx.figures.faults import faults_of
from stagefx.hearing.grades import Grade
from stagefx.hearing.level_at_ear import LevelAtEar
from stagefx.hearing.margin.causes import Cause, causes_of
from stagefx.hearing.margin.isolated_effect import Passage as Excerpt
from stagefx.hearing.margin.sensitivity import Trial, trial_of
from stagefx.hearing.passage import Passage
from stagefx.hearing.rows.on_paper import Spectrum
from stagefx.hearing.wording import factor as in_words
from stagefx.io.recording import Recording
from stagefx.render.preparation import Played

STEP, FINEST, MOST = 1.25, 1.01, 10_000.0
"""Ratio of the grid that is bisected, of the answer's two sides, and the largest factor tried."""
NOT_ENOUGH = "more than 10,000 times"


@dataclass(frozen=True)
class CauseMargin:
    """How far one cause is from being heard."""

    effect: str
    cause: str
    factor: float | None
    reason: str
    grade_now: Grade | None
    decided_by: str
    sentence: str

    @property
    def size(self) -> float:
        """The factor, infinite where there is none: what the nearest has least of."""
        return math.inf if self.factor is None else self.factor

    def as_json(self) -> dict[str, Any]:
        """The margin as plain values."""
        why = {"value": None, "reason": self.reason}
        return {
            "effect": self.effect,
            "cause": self.cause,
            "factor": why if self.factor is None else self.factor,
            "grade_now": why if self.grade_now is None else str(self.grade_now),
            "decided_by": self.decided_by,
            "sentence": self.sentence,
        }


@dataclass(frozen=True)
class Margin:
    """How far the effects of a stage are from being heard in a piece.

    Parameters
    ----------
    stage, music : str
        Their names.
    start_s, stop_s : float, s
        The stretch that was listened to.
    why : str
        Why this one.
    level_at_ear : LevelAtEar
        How loud full scale is at the seat.
    causes : tuple of CauseMargin
        One a cause, in the order of the effects.
    remarks : tuple of str
        What the reader has to know.
    """

    stage: str
    music: str
    start_s: float
    stop_s: float
    why: str
    level_at_ear: LevelAtEar
    causes: tuple[CauseMargin, ...]
    remarks: tuple[str, ...] = ()

    @property
    def effects(self) -> tuple[CauseMargin, ...]:
        """For each effect the cause that comes nearest to being heard."""
        found: dict[str, CauseMargin] = {}
        for one in self.causes:
            known = found.get(one.effect)
            if known is None or one.size < known.size:
                found[one.effect] = one
        return tuple(found.values())

    def as_json(self) -> dict[str, Any]:
        """The margins as plain values.

        Returns
        -------
        dict
            The keys of ``stagefx margin --json``.
        """
        effects = []
        for nearest in self.effects:
            own = [one.as_json() for one in self.causes if one.effect == nearest.effect]
            effects.append({**nearest.as_json(), "causes": own})
        return {
            "effects": effects,
            "stage": self.stage,
            "music": self.music,
            "passage": {"start_s": self.start_s, "stop_s": self.stop_s, "why": self.why},
            "listening_level_db": self.level_at_ear.listening_level_db,
            "remarks": list(self.remarks),
        }


def headline(found: Margin) -> str:
    """What comes nearest to being heard, in a sentence."""
    judged = [one for one in found.causes if one.grade_now is not None]
    if not judged:
        return "This stage has nothing that could grow until it is heard."
    nearest = min(judged, key=lambda one: one.size)
    if nearest.factor is None:
        return "Nothing would be heard even if it were 10,000 times as bad."
    return nearest.sentence


def margins(
    played: Played,
    music: Recording,
    passage: Passage,
    ear: LevelAtEar,
    room_dba: float | None,
) -> Margin:
    """The margin of every cause of a prepared stage, each effect acting alone on a passage.

    Slew, limits, gain-bandwidth and coupling capacitances are divided by k, everything else is
    multiplied by it.  Where the paper alone tells, the ear model only checks that it would not
    have heard the change before.
    """
    start, stop = frames_of(music, (passage.start_s, passage.stop_s))
    assert stop is not None
    piece = Excerpt(
        music, start, stop,
        full_scale_v=played.full_scale_v, full_scale_spl_db=ear.full_scale_spl_db,
        room_dba=room_dba,
    )  # fmt: skip
    spectrum = Spectrum(piece.rate_hz, piece.blocks())
    circuit = played.knob.circuit
    causes = tuple(
        margin_of(cause, trial_of(cause, circuit, piece, spectrum, ear.full_scale_spl_db))
        for cause in causes_of(circuit)
    )
    remarks: list[str] = [fault.remark for fault in faults_of(circuit)]
    remarks += [*ear.remarks, *([played.knob.remark] if played.knob.remark else [])]
    return Margin(
        played.stage.name, name_of(music), passage.start_s, passage.stop_s, passage.why, ear,
        causes, tuple(remarks),
    )  # fmt: skip


def margin_of(cause: Cause, trial: Trial | str) -> CauseMargin:
    """Find the factor of one cause."""
    if isinstance(trial, str):
        said = f"{cause.name.capitalize()}: {trial}."
        return CauseMargin(cause.effect, cause.name, None, trial, None, "", said)
    now = trial.grade_now()
    if now.rank >= Grade.MAY.rank:
        decided = trial.decided_by(1.0)
        said = f"'{cause.effect}' alone {now} as it is ({cause.name})."
        return CauseMargin(cause.effect, cause.name, 1.0, "", now, decided, said)
    found = first_heard_of(trial)
    if found is None:
        said = f"{_upper(cause.more.format(times=NOT_ENOUGH))}."
        return CauseMargin(cause.effect, cause.name, None, NOT_ENOUGH, now, "", said)
    decided = trial.decided_by(found)
    said = cause.more.format(times=in_words(found))
    return CauseMargin(
        cause.effect, cause.name, float(f"{found:.4g}"), "", now, decided, f"{_upper(said)}."
    )


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def first_heard_of(trial: Trial) -> float | None:
    """The least factor at which any witness hears a cause."""
    found = trial.closed_form
    for witness in trial.witnesses:
        if found is not None and found <= 1.0:
            return 1.0
        if found is not None and not witness(found / FINEST):
            continue
        found = first_heard(_before(witness, found))
    return None if found is None or found > MOST else found


def _before(witness: Callable[[float], bool], known: float | None) -> Callable[[float], bool]:
    """A witness who also hears from a factor on that is known."""
    if known is None:
        return witness
    return lambda times: times >= known or witness(times)


def first_heard(heard: Callable[[float], bool]) -> float | None:
    """The least factor at which something is heard, trusting that more is never heard less."""
    grid = [1.0]
    while grid[-1] * STEP < MOST:
        grid.append(grid[-1] * STEP)
    grid.append(MOST)
    low, high = 0, len(grid)
    while low < high:
        middle = (low + high) // 2
        if heard(grid[middle]):
            high = middle
        else:
            low = middle + 1
    if low == len(grid):
        return None
    if low == 0:
        return 1.0
    below, above = grid[low - 1], grid[low]
    while above > FINEST * below:
        between = (below * above) ** 0.5
        below, above = (below, between) if heard(between) else (between, above)
    return above
