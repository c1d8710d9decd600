"""One listener's replies, counted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.special import stdtrit

from stagefx.blind.codes import Reply
from stagefx.blind.keys import SealedKey
from stagefx.blind.protocol import find_protocol
from stagefx.blind.statistics.binomial import USUAL_FALSE_PASS, p_value, rate_interval
from stagefx.blind.statistics.sensitivity import d_prime_same_different, listener_d_prime
from stagefx.blind.trials import Trial, open_trial
from stagefx.errors import BlindError


@dataclass(frozen=True)
class Controls:
    """Trials of a change that is known to be heard."""

    correct: int
    trials: int
    chance: float

    @property
    def passed(self) -> bool | None:
        """Whether the score is above chance at 5 %; None where there was no control."""
        if not self.trials:
            return None
        return p_value(self.correct, self.trials, self.chance) <= USUAL_FALSE_PASS

    def as_json(self) -> dict[str, Any]:
        """The controls as plain values."""
        return {"correct": self.correct, "trials": self.trials, "passed": self.passed}


@dataclass(frozen=True)
class Grades:
    """How much lower the object was graded than the hidden reference (ITU-R BS.1116)."""

    mean: float
    low: float
    high: float

    def as_json(self) -> dict[str, float]:
        """The grades as plain values."""
        return dict(vars(self))


@dataclass(frozen=True)
class Listener:
    """What one listener got right."""

    name: str
    correct: int
    trials: int
    p: float
    p_holm: float
    interval: tuple[float, float]
    d_prime: float | None
    d_prime_model: str
    controls: Controls
    outcomes: tuple[bool, ...]
    choices: tuple[tuple[int, int], ...] = ()
    grades: Grades | None = None

    def with_holm(self, p_holm: float) -> Listener:
        """The same listener, corrected for how many there are."""
        return replace(self, p_holm=p_holm)

    def as_json(self) -> dict[str, Any]:
        """The listener as plain values."""
        none = {"value": None, "reason": "a preference has no right answer"}
        return {
            "name": self.name,
            "correct": self.correct,
            "trials": self.trials,
            "p": self.p,
            "p_holm": self.p_holm,
            "interval": list(self.interval),
            "d_prime": none if self.d_prime is None else self.d_prime,
            "d_prime_model": self.d_prime_model,
            "controls": self.controls.as_json(),
            "grades": None if self.grades is None else self.grades.as_json(),
        }


def listener_of(reply: Reply, key: SealedKey) -> Listener:
    """Count a listener's replies."""
    opened = [open_trial(answer, key) for answer in reply.answers]
    trials = [trial for trial in opened if not trial.control]
    if not trials:
        raise BlindError("a reply holds no trial but controls; ask for a whole one")
    protocol = find_protocol(key.protocol)
    outcomes = tuple(trial.right for trial in trials)
    p = p_value(sum(outcomes), len(outcomes), protocol.chance, two_sided=protocol.two_sided)
    graded = [t.grade_difference for t in trials if t.grade_difference is not None]
    return Listener(
        name=reply.listener,
        correct=sum(outcomes),
        trials=len(outcomes),
        p=p,
        p_holm=p,
        interval=rate_interval(sum(outcomes), len(outcomes)),
        d_prime=_d_prime(trials, key.protocol),
        d_prime_model=protocol.model,
        controls=controls_of([_controls(opened, protocol.chance)]),
        outcomes=outcomes,
        choices=tuple((t.chosen, t.passed_over) for t in trials if t.chosen >= 0),
        grades=_grades(graded) if len(graded) > 1 else None,
    )


def controls_of(parts: Sequence[Controls]) -> Controls:
    """Positive controls taken together."""
    chance = parts[0].chance if parts else 0.5
    return Controls(sum(c.correct for c in parts), sum(c.trials for c in parts), chance)


def _controls(opened: Sequence[Trial], chance: float) -> Controls:
    right = [trial.right for trial in opened if trial.control]
    return Controls(sum(right), len(right), chance)


def _d_prime(trials: Sequence[Trial], name: str) -> float | None:
    if name != "same-different":
        return listener_d_prime(
            find_protocol(name), sum(trial.right for trial in trials), len(trials)
        )
    different = [trial.right for trial in trials if trial.differed]
    same = [not trial.right for trial in trials if not trial.differed]
    if not different or not same:
        return None
    return d_prime_same_different((sum(different), len(different)), (sum(same), len(same)))


def _grades(apart: Sequence[float]) -> Grades:
    values = np.array(apart)
    mean, error = values.mean(), values.std(ddof=1) / np.sqrt(len(values))
    half = float(stdtrit(len(values) - 1, 0.975)) * error
    return Grades(float(mean), float(mean - half), float(mean + half))
