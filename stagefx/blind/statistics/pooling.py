"""Many listeners and many tests: corrected, pooled, and asked whether they are alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product

import numpy as np
from scipy.special import stdtr

from stagefx.blind.statistics.binomial import check_score, rate_interval
from stagefx.errors import BlindError

_FEWEST_LISTENERS = 3


@dataclass(frozen=True)
class Share:
    """A share with its interval."""

    value: float
    low: float
    high: float

    def as_json(self) -> dict[str, float]:
        """The share as plain values."""
        return {"value": self.value, "low": self.low, "high": self.high}


def holm(p_values: Sequence[float]) -> list[float]:
    """P-values corrected for how many were looked at, by Holm's steps.

    S. Holm, Scand. J. Statist. 6, 1979.
    """
    order = np.argsort(p_values, kind="stable")
    corrected = np.empty(len(order))
    worst = 0.0
    for rank, index in enumerate(order):
        worst = max(worst, (len(order) - rank) * p_values[index])
        corrected[index] = min(worst, 1.0)
    return [float(p) for p in corrected]


def share_who_hear(correct: int, trials: int, chance: float) -> Share:
    """The share of answers that hearing, and not chance, got right.

    ``(pc - chance) / (1 - chance)``

    Where each listener either hears the difference or guesses, and answers once, it is the share of
    listeners; with more answers each, the interval is that of the answers.

    ISO 4120, proportion of discriminators (from memory).
    """
    low, high = rate_interval(correct, trials)
    shares = [max(0.0, (rate - chance) / (1.0 - chance)) for rate in (correct / trials, low, high)]
    return Share(*shares)


def p_over_listeners(scores: Sequence[tuple[int, int]], chance: float) -> float | None:
    """Whether listeners, each taken as one, do better than chance: random effects.

    Student's one-sided t over the listeners' shares of right answers.

    Pooled answers can be carried by one listener; this asks about listeners in general.
    """
    for score in scores:
        check_score(*score, least=1)
    shares = np.array([correct / trials for correct, trials in scores])
    if len(shares) < _FEWEST_LISTENERS or not np.ptp(shares):
        return None
    error = shares.std(ddof=1) / np.sqrt(len(shares))
    return float(stdtr(len(shares) - 1, -(shares.mean() - chance) / error))


def p_by_keys(key: Sequence[int], replies: Sequence[Sequence[int]], *, alternatives: int) -> float:
    """The p-value of several listeners' replies to one fixed key.

    Listeners of a pack with one key are not independent: a bias they share helps or harms all of
    them alike.  So the score is set against the scores under every key there could have been.
    """
    counts = np.zeros((len(key), alternatives), dtype=np.int64)
    for listener in replies:
        if len(listener) != len(key):
            raise BlindError(
                f"a listener gave {len(listener)} replies to a key of {len(key)}; "
                "give one reply to each trial"
            )
        counts[np.arange(len(key)), list(listener)] += 1
    scored = int(counts[np.arange(len(key)), list(key)].sum())
    ways = {0: Fraction(1)}
    for trial in counts:
        following: dict[int, Fraction] = {}
        for (score, share), more in product(ways.items(), trial):
            here = score + int(more)
            following[here] = following.get(here, Fraction(0)) + share / alternatives
        ways = following
    return float(sum(share for score, share in ways.items() if score >= scored))
