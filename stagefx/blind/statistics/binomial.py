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

    Parameters
    ----------
    correct : int, 0 to `trials`
        Right answers.
    trials : int
        Answers.
    rate : float, 0 to 1
        Chance that one answer is right.

    Returns
    -------
    float
        Exact, one-sided; against chance it is the p-value.

    Raises
    ------
    BlindError
        There are fewer trials than right answers, or fewer than none.

    Examples
    --------
    >>> round(chance_of_at_least(12, 16, 0.5), 7)
    0.0384064
    """
    check_score(correct, trials)
    return 1.0 if correct == 0 else float(bdtrc(correct - 1, trials, rate))


def p_value(correct: int, trials: int, chance: float, *, two_sided: bool = False) -> float:
    """The p-value of a score.

    Parameters
    ----------
    correct : int, 0 to `trials`
        Right answers; in a preference those for the first version.
    trials : int
        Answers.
    chance : float, 0 to 1
        Share that chance alone gets right.
    two_sided : bool
        Whether few count as well as many: twice the smaller side, at most 1.

    Returns
    -------
    float
        How often somebody who hears no difference scores so well or better.

    Raises
    ------
    BlindError
        There are fewer trials than right answers, or fewer than none.

    Examples
    --------
    >>> round(p_value(12, 16, 0.5), 4), round(p_value(3, 16, 0.5, two_sided=True), 4)
    (0.0384, 0.0213)
    """
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
    """The fewest right answers that count as hearing the difference.

    Parameters
    ----------
    trials : int
        Answers, fixed beforehand.
    chance : float, 0 to 1
        Share that chance alone gets right.
    false_pass : float, 0 to 1
        How often somebody who hears nothing may pass at most.
    two_sided : bool
        Whether few count as well as many.

    Returns
    -------
    int or None
        None where not even a perfect score would do.

    Examples
    --------
    >>> pass_mark(16, 0.5), pass_mark(24, 1 / 3), pass_mark(4, 0.5)
    (12, 13, None)
    """
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
    """How often somebody who is right so often passes.

    Parameters
    ----------
    trials : int
        Answers, fixed beforehand.
    chance : float, 0 to 1
        Share that chance alone gets right.
    rate : float, 0 to 1
        Share that this listener gets right.
    false_pass : float, 0 to 1
        How often somebody who hears nothing may pass at most.
    two_sided : bool
        Whether few count as well as many; both sides are then counted.

    Returns
    -------
    float
        0 where nobody can pass.

    Examples
    --------
    >>> round(power(16, 0.5, 0.7), 3)
    0.45
    """
    mark = pass_mark(trials, chance, false_pass=false_pass, two_sided=two_sided)
    if mark is None:
        return 0.0
    passed = chance_of_at_least(mark, trials, rate)
    return passed + (float(bdtr(trials - mark, trials, rate)) if two_sided else 0.0)


def rate_interval(correct: int, trials: int, *, sure: float = 0.95) -> tuple[float, float]:
    """From where to where the true share of right answers may lie.

    Parameters
    ----------
    correct : int, 0 to `trials`
        Right answers.
    trials : int, 1 or more
        Answers.
    sure : float, 0 to 1
        How often the interval holds the truth at least.

    Returns
    -------
    low, high : float
        Exact, two-sided.

    Raises
    ------
    BlindError
        There are fewer trials than right answers, or none.

    References
    ----------
    C. J. Clopper, E. S. Pearson, Biometrika 26, 1934: limits from the binomial itself.

    Examples
    --------
    >>> [round(limit, 6) for limit in rate_interval(12, 16)]
    [0.476229, 0.927338]
    """
    side = 0.5 * (1.0 - sure)
    return lower_limit(correct, trials, sure=1.0 - side), upper_limit(
        correct, trials, sure=1.0 - side
    )


def lower_limit(correct: int, trials: int, *, sure: float = 0.95) -> float:
    """The least that the true share of right answers may be.

    Parameters
    ----------
    correct : int, 0 to `trials`
        Right answers.
    trials : int, 1 or more
        Answers.
    sure : float, 0 to 1
        One-sided.

    Returns
    -------
    float
        Exact.

    Raises
    ------
    BlindError
        There are fewer trials than right answers, or none.

    Examples
    --------
    >>> round(lower_limit(50, 50), 3)
    0.942
    """
    check_score(correct, trials, least=1)
    return 0.0 if correct == 0 else float(betaincinv(correct, trials - correct + 1, 1.0 - sure))


def upper_limit(correct: int, trials: int, *, sure: float = 0.95) -> float:
    """The most that the true share of right answers may be: what a null rules out.

    Parameters
    ----------
    correct : int, 0 to `trials`
        Right answers.
    trials : int, 1 or more
        Answers.
    sure : float, 0 to 1
        One-sided.

    Returns
    -------
    float
        Exact.

    Raises
    ------
    BlindError
        There are fewer trials than right answers, or none.

    Examples
    --------
    >>> round(upper_limit(50, 100), 6)
    0.586378
    """
    check_score(correct, trials, least=1)
    return 1.0 if correct == trials else float(betaincinv(correct + 1, trials - correct, sure))


def check_score(correct: int, trials: int, *, least: int = 0) -> None:
    """Refuse a score that cannot be.

    Parameters
    ----------
    correct, trials : int
        Right answers and answers.
    least : int
        The fewest answers.

    Raises
    ------
    BlindError
        There are fewer trials than right answers, or fewer than `least`.

    Examples
    --------
    >>> check_score(3, 4)
    """
    if not least <= trials <= MOST_TRIALS or not 0 <= correct <= trials:
        raise BlindError(
            f"{correct} right of {trials} is no score; give from {least} to {MOST_TRIALS} "
            "answers, and no more right ones than answers"
        )
