"""Right answers against chance: exact binomial probabilities, pass marks, power, intervals.

Only `scipy.special` is used, which loads in a moment.
"""

from __future__ import annotations

import numpy as np
from scipy.special import bdtr, bdtrc, betaincinv

from stagefx.errors import BlindError

USUAL_FALSE_PASS = 0.05
MOST_TRIALS = 100_000


def chance_of_at_least(correct: int, trials: int, rate: float) -> float:
    """How often so many right answers, or more, come about.

    ``P(X >= correct)``, X binomial
    """
    check_score(correct, trials)
    return 1.0 if correct == 0 else float(bdtrc(correct - 1, trials, rate))


def p_value(correct: int, trials: int, chance: float, *, two_sided: bool = False) -> float:
    """The p-value of a score."""
    above = chance_of_at_least(correct, trials, chance)
    if not two_sided:
        return above
    return min(1.0, 2.0 * min(above, float(bdtr(correct, trials, chance))))


def pass_mark(
    trials: int,
    chance: float,
    *,
    false_pass: float = USUAL_FALSE_PASS,
    two_sided: bool = False,
) -> int | None:
    """The fewest right answers that count as hearing the difference."""
    middle = int(np.floor(trials * chance))
    for correct in range(middle, trials + 1):
        p = p_value(correct, trials, chance, two_sided=two_sided)
        if correct >= trials * chance and p <= false_pass:
            return correct
    return None


def power(
    trials: int,
    chance: float,
    rate: float,
    *,
    false_pass: float = USUAL_FALSE_PASS,
    two_sided: bool = False,
) -> float:
    """How often somebody who is right so often passes."""
    mark = pass_mark(trials, chance, false_pass=false_pass, two_sided=two_sided)
    if mark is None:
        return 0.0
    passed = chance_of_at_least(mark, trials, rate)
    return passed + (float(bdtr(trials - mark, trials, rate)) if two_sided else 0.0)


def rate_interval(correct: int, trials: int, *, sure: float = 0.95) -> tuple[float, float]:
    """From where to where the true share of right answers may lie.

    C. J. Clopper, E. S. Pearson, Biometrika 26, 1934: limits from the binomial itself.
    """
    side = 0.5 * (1.0 - sure)
    return lower_limit(correct, trials, sure=1.0 - side), upper_limit(
        correct, trials, sure=1.0 - side
    )


def lower_limit(correct: int, trials: int, *, sure: float = 0.95) -> float:
    """The least that the true share of right answers may be."""
    check_score(correct, trials, least=1)
    return 0.0 if correct == 0 else float(betaincinv(correct, trials - correct + 1, 1.0 - sure))


def upper_limit(correct: int, trials: int, *, sure: float = 0.95) -> float:
    """The most that the true share of right answers may be: what a null rules out."""
    check_score(correct, trials, least=1)
    return 1.0 if correct == trials else float(betaincinv(correct + 1, trials - correct, sure))


def check_score(correct: int, trials: int, *, least: int = 0) -> None:
    """Refuse a score that cannot be."""
    if not least <= trials <= MOST_TRIALS or not 0 <= correct <= trials:
        raise BlindError(
            f"{correct} right of {trials} is no score; give from {least} to {MOST_TRIALS} "
            "answers, and no more right ones than answers"
        )
