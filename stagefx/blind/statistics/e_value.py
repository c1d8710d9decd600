"""Evidence that may be looked at after every answer, without fooling oneself."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import betainc, betaln

ACT_AT = 20.0
"""Somebody who hears nothing ever gets so far in at most 1 of 20 tests, however long."""


def e_value(correct: int, trials: int, chance: float) -> float:
    """How much better hearing explains a score than chance does.

    Mean of the likelihood ratio ``q^k (1-q)^(n-k) / (c^k (1-c)^(n-k))`` over hit rates q from c
    to 1, all alike.

    J. Ville, Étude critique de la notion de collectif, 1939: a non-negative martingale that
    begins at 1 ever reaches 20 with a chance of 1/20 at most.
    """
    wrong = trials - correct
    over = betainc(wrong + 1, correct + 1, 1.0 - chance)
    if over <= 0.0:
        return 0.0
    log = float(betaln(correct + 1, wrong + 1)) + math.log(float(over)) - math.log1p(-chance)
    log -= correct * math.log(chance) + wrong * math.log1p(-chance)
    return math.exp(min(log, 700.0))


def e_values(right: NDArray[np.bool_], chance: float) -> NDArray[np.float64]:
    """The evidence after each answer."""
    counts = np.cumsum(right)
    return np.array([e_value(int(k), n + 1, chance) for n, k in enumerate(counts)])


def chance_to_reach(
    trials: int, rate: float, chance: float, *, act_at: float = ACT_AT
) -> NDArray[np.float64]:
    """How often the evidence has reached a level by each answer."""
    paths = np.zeros(trials + 2)
    paths[0] = 1.0
    reached = np.zeros(trials)
    done = 0.0
    for n in range(1, trials + 1):
        paths[1 : n + 1] = (1.0 - rate) * paths[1 : n + 1] + rate * paths[:n]
        paths[0] *= 1.0 - rate
        there = np.array([e_value(k, n, chance) >= act_at for k in range(n + 1)])
        done += float(paths[: n + 1][there].sum())
        paths[: n + 1][there] = 0.0
        reached[n - 1] = done
    return reached
