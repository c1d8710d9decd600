"""Evidence looked at after every answer: somebody who hears nothing seldom reaches the level."""

from __future__ import annotations

import numpy as np
import pytest

from stagefx.blind.statistics.binomial import pass_mark
from stagefx.blind.statistics.e_value import ACT_AT, chance_to_reach, e_value

SERIES, TRIALS = 20_000, 200


@pytest.mark.parametrize("chance", [1 / 2, 1 / 3])
def test_false_alarms_under_continuous_peeking(chance: float) -> None:
    """20,000 guessers of 200 answers each, stopped at the first sight of 20: at most 5 %."""
    right = np.random.default_rng(7).random((SERIES, TRIALS)) < chance
    counts = np.cumsum(right, axis=1)
    table = np.zeros((TRIALS, TRIALS + 1))
    for n in range(1, TRIALS + 1):
        table[n - 1, : n + 1] = [e_value(k, n, chance) for k in range(n + 1)]
    stopped = (table[np.arange(TRIALS), counts] >= ACT_AT).any(axis=1).mean()
    assert stopped <= 0.05
    exact = chance_to_reach(TRIALS, chance, chance)[-1]
    assert stopped == pytest.approx(exact, abs=4.0 * np.sqrt(exact / SERIES))


def test_what_peeking_at_the_p_value_does() -> None:
    """Looking after every answer from the fifth to the fiftieth gives 15.8 %, not 5 %."""
    marks = np.array([pass_mark(n, 0.5) or n + 1 for n in range(5, 51)])
    right = np.random.default_rng(8).random((SERIES, 50)) < 0.5
    counts = np.cumsum(right, axis=1)[:, 4:]
    assert (counts >= marks).any(axis=1).mean() == pytest.approx(0.1578822, abs=0.01)
    values = np.array(
        [[e_value(k, n, 0.5) if k <= n else 0.0 for k in range(51)] for n in range(5, 51)]
    )
    assert (values[np.arange(46), counts] >= ACT_AT).any(axis=1).mean() <= 0.05


def test_the_mean_of_the_evidence_is_one_for_a_guesser() -> None:
    from scipy.stats import binom

    for chance in (1 / 2, 1 / 3):
        values = np.array([e_value(k, 30, chance) for k in range(31)])
        assert (values * binom.pmf(np.arange(31), 30, chance)).sum() == pytest.approx(1.0, abs=1e-9)
