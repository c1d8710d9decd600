"""Exact probabilities, pass marks and intervals of listening tests, against printed tables.

Worked examples are named E78 and so on; "common practice" unless a source stands beside them.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from stagefx.blind.planning import plan
from stagefx.blind.statistics.binomial import (
    chance_of_at_least,
    p_value,
    pass_mark,
    power,
    rate_interval,
    upper_limit,
)
from stagefx.blind.statistics.e_value import chance_to_reach
from stagefx.blind.statistics.pooling import holm, p_by_keys, share_who_hear
from stagefx.blind.statistics.sensitivity import d_prime, distance_for, share_right

TRIANGLE = {
    6: (5, 5, 6, None), 8: (5, 6, 7, 8), 10: (6, 7, 8, 9), 12: (7, 8, 9, 10),
    15: (8, 9, 10, 12), 18: (10, 10, 12, 13), 20: (10, 11, 13, 14), 24: (12, 13, 15, 16),
    27: (13, 14, 16, 18), 30: (14, 15, 17, 19), 36: (17, 18, 20, 22), 48: (21, 22, 25, 27),
    60: (26, 27, 30, 33), 96: (39, 41, 44, 48),
}  # fmt: skip
DUO_TRIO = {
    8: (7, 8, None), 10: (9, 10, 10), 12: (10, 11, 12), 14: (11, 12, 13), 16: (12, 14, 15),
    18: (13, 15, 16), 20: (15, 16, 18), 24: (17, 19, 20), 30: (20, 22, 24), 32: (22, 24, 26),
    36: (24, 26, 28), 40: (26, 28, 31), 48: (31, 33, 36), 50: (32, 34, 37), 60: (37, 40, 43),
    72: (44, 47, 50), 100: (59, 63, 66),
}  # fmt: skip
TWO_SIDED = {8: 8, 10: 9, 12: 10, 16: 13, 20: 15, 24: 18, 30: 21, 36: 25, 48: 32, 60: 39, 100: 61}


@pytest.mark.parametrize(
    ("score", "p"),
    [
        ((12, 16), 0.0384064), ((13, 16), 0.0106354), ((11, 16), 0.1050568),
        ((10, 16), 0.2272491), ((9, 10), 0.0107422), ((15, 20), 0.0206947),
        ((18, 25), 0.0216426), ((59, 100), 0.0443130), ((9, 16), 0.40181), ((14, 16), 0.0020905),
        ((15, 16), 0.00025940), ((16, 16), 0.0000152588),
    ],
)  # fmt: skip
def test_e78_exact_p_values(score: tuple[int, int], p: float) -> None:
    assert p_value(*score, 0.5) == pytest.approx(p, abs=6e-8, rel=6e-5)


@pytest.mark.parametrize(
    ("score", "p"),
    [((8, 10), 0.0546875), ((11, 15), 0.0592346), ((14, 20), 0.0576591), ((17, 25), 0.0538761)],
)
def test_e78b_the_misprinted_quick_guide_does_not_pass(score: tuple[int, int], p: float) -> None:
    assert p_value(*score, 0.5) == pytest.approx(p, abs=6e-8)
    assert pass_mark(score[1], 0.5) == score[0] + 1


def test_e79_power_of_sixteen_trials() -> None:
    rates = (0.6, 0.7, 0.75, 0.8, 0.9)
    printed = (0.1665674, 0.4499041, 0.6301862, 0.7982454, 0.9829960)
    assert [power(16, 0.5, rate) for rate in rates] == pytest.approx(printed, abs=6e-8)
    assert 1.0 - chance_of_at_least(32, 50, 0.6) == pytest.approx(0.6644, abs=5e-5)
    assert 1.0 - chance_of_at_least(59, 100, 0.6) == pytest.approx(0.3775, abs=5e-5)


@pytest.mark.parametrize(
    ("able", "trials", "mark"),
    [
        (0.9, 8, 7), (0.8, 18, 13), (0.75, 23, 16), (0.7, 37, 24),
        (0.65, 69, 42), (0.6, 158, 90), (0.55, 620, 331),
    ],
)  # fmt: skip
def test_e80_first_number_of_trials_with_power(able: float, trials: int, mark: int) -> None:
    planned = plan("abx", able=able)
    assert (planned.trials, planned.pass_mark) == (trials, mark)


def test_e80_power_goes_up_and_down() -> None:
    assert power(37, 0.5, 0.7) >= 0.8 > power(38, 0.5, 0.7)
    assert all(power(n, 0.5, 0.7) >= 0.8 for n in range(42, 100))


def test_e80b_pass_marks_and_true_false_alarms() -> None:
    printed = {
        10: (9, 0.01074), 12: (10, 0.01929), 16: (12, 0.03841), 20: (15, 0.02069),
        24: (17, 0.03196), 30: (20, 0.04937), 40: (26, 0.04035), 50: (32, 0.03245),
        100: (59, 0.04431),
    }  # fmt: skip
    for trials, (mark, false_pass) in printed.items():
        planned = plan("abx", trials=trials)
        assert planned.pass_mark == mark
        assert planned.false_pass_chance == pytest.approx(false_pass, abs=6e-6)


def test_e83_many_tests() -> None:
    assert holm([0.04] * 10) == [0.4] * 10
    assert holm([0.004, 0.03, 0.6]) == pytest.approx([0.012, 0.06, 0.6])


def test_e84_pooled_scores() -> None:
    assert p_value(100, 160, 0.5) == pytest.approx(0.0009769, abs=6e-8)
    assert p_value(88, 160, 0.5) == pytest.approx(0.1177912, abs=6e-8)
    assert 1.0 - (1.0 - p_value(12, 16, 0.5)) ** 10 == pytest.approx(0.3240481, abs=6e-8)


def test_e85_exact_intervals() -> None:
    printed = {
        (10, 16): (0.354346, 0.848016), (8, 16): (0.246510, 0.753490),
        (50, 100): (0.398321, 0.601679), (12, 16): (0.476229, 0.927338),
    }  # fmt: skip
    for score, limits in printed.items():
        assert rate_interval(*score) == pytest.approx(limits, abs=6e-7)
        other = stats.binomtest(*score).proportion_ci(method="exact")
        assert rate_interval(*score) == pytest.approx((other.low, other.high), abs=1e-12)


def test_e86_what_a_null_rules_out() -> None:
    for score, rate, share in [((8, 16), 0.721397, 0.442795), ((50, 100), 0.586378, 0.172757)]:
        assert upper_limit(*score) == pytest.approx(rate, abs=6e-7)
        assert 2.0 * upper_limit(*score) - 1.0 == pytest.approx(share, abs=1.1e-6)
    assert share_who_hear(75, 100, 0.5).value == pytest.approx(0.5)


@pytest.mark.parametrize(("trials", "marks"), TRIANGLE.items())
def test_triangle_pass_marks_of_iso_4120(trials: int, marks: tuple[int | None, ...]) -> None:
    levels = (0.1, 0.05, 0.01, 0.001)
    assert tuple(pass_mark(trials, 1 / 3, false_pass=level) for level in levels) == marks


@pytest.mark.parametrize(("trials", "marks"), DUO_TRIO.items())
def test_pass_marks_of_iso_10399_and_5495(trials: int, marks: tuple[int | None, ...]) -> None:
    levels = (0.05, 0.01, 0.001)
    assert tuple(pass_mark(trials, 0.5, false_pass=level) for level in levels) == marks


@pytest.mark.parametrize(("trials", "mark"), TWO_SIDED.items())
def test_two_sided_pass_marks(trials: int, mark: int) -> None:
    assert pass_mark(trials, 0.5, two_sided=True) == mark


def shares_that_pass(trials: int, rate: float) -> float:
    """Every count from 0 to all, with its chance, that leaves 2.5 % or less in its tail."""
    counts = np.arange(trials + 1)
    tails = stats.binom.cdf(counts, trials, 0.5), stats.binom.sf(counts - 1, trials, 0.5)
    passing = np.minimum(*tails) <= 0.025
    return float(stats.binom.pmf(counts, trials, rate)[passing].sum())


@pytest.mark.parametrize("rate", [0.0, 0.2, 0.45, 0.5, 0.55, 0.7, 1.0])
@pytest.mark.parametrize("trials", [5, *TWO_SIDED])
def test_a_two_sided_power_counts_both_tails(trials: int, rate: float) -> None:
    """Whoever always picks the other version has a preference, too."""
    found = power(trials, 0.5, rate, two_sided=True)
    assert found == pytest.approx(shares_that_pass(trials, rate), rel=1e-9, abs=1e-15)
    assert found == pytest.approx(power(trials, 0.5, 1.0 - rate, two_sided=True), rel=1e-9)


@pytest.mark.parametrize(("trials", "mark"), TWO_SIDED.items())
def test_a_planned_preference_counts_both_tails(trials: int, mark: int) -> None:
    planned = plan("preference", trials=trials, able=0.51)  # hardly more than the far tail
    assert planned.pass_mark == mark
    assert planned.power == pytest.approx(shares_that_pass(trials, 0.51), rel=1e-9)
    assert planned.false_pass_chance == pytest.approx(shares_that_pass(trials, 0.5), rel=1e-9)
    assert planned.missed is not None
    assert shares_that_pass(trials, planned.missed) == pytest.approx(0.8, abs=1e-9)


@pytest.mark.parametrize("able", [0.6, 0.7, 0.9])
def test_the_first_number_of_choices_with_power(able: float) -> None:
    powers = (shares_that_pass(trials, able) for trials in range(1, 400))
    first = next(trials for trials, found in enumerate(powers, start=1) if found >= 0.8)
    assert plan("preference", able=able).trials == first


@pytest.mark.parametrize(
    ("protocol", "discriminators", "assessors"),
    [
        ("triangle", 0.5, 16), ("triangle", 0.4, 23), ("triangle", 0.3, 40), ("triangle", 0.2, 87),
        ("triangle", 0.1, 325), ("abx", 0.5, 23), ("abx", 0.4, 37), ("abx", 0.3, 69),
        ("abx", 0.2, 158), ("abx", 0.1, 620),
    ],
)  # fmt: skip
def test_assessors_needed_by_iso_4120_and_10399(
    protocol: str, discriminators: float, assessors: int
) -> None:
    """Level 0.05, power 0.8; tables A.3 of both (from memory), which agree with exact sums."""
    chance = 1 / 3 if protocol == "triangle" else 0.5
    planned = plan(protocol, able=chance + (1.0 - chance) * discriminators)
    assert planned.trials == assessors


def test_d_prime_tables() -> None:
    """Macmillan and Creelman 2005; Ennis 1993 (from memory); two alternatives as printed there."""
    distances = (0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0)
    printed = {
        "two alternatives": (0.5, 0.6382, 0.7602, 0.8556, 0.9214, 0.9615, 0.9831),
        "three alternatives": (0.3333, 0.4826, 0.6337, 0.7658, 0.8658, 0.9314, 0.9688),
        "comparison of distances": (0.3333, 0.3558, 0.4180, 0.5065, 0.6048, 0.6993, 0.7814),
        "differencing abx": (0.5, 0.5223, 0.5825, 0.6635, 0.7468, 0.8196, 0.8765),
        "independent observation": (0.5, 0.5273, 0.5997, 0.6944, 0.7877, 0.8639, 0.9185),
    }
    for model, shares in printed.items():
        assert [share_right(d, model) for d in distances] == pytest.approx(shares, abs=6e-5)


def test_d_prime_inverted() -> None:
    shares = (0.6, 0.7, 0.75, 0.8, 0.9)
    printed = {
        "independent observation": (1.0020, 1.5287, 1.7904, 2.0726, 2.8073),
        "differencing abx": (1.1152, 1.7153, 2.0200, 2.3549, 3.2631),
        "comparison of distances": (1.9756, 2.5037, 2.7974, 3.1286, 4.0276),
    }
    for model, distances in printed.items():
        assert [distance_for(share, model) for share in shares] == pytest.approx(
            distances, abs=6e-5
        )
    assert distance_for(0.725562, "differencing abx") == pytest.approx(1.8687, abs=6e-5)
    assert distance_for(0.725562, "independent observation") == pytest.approx(1.6610, abs=6e-5)


def test_d_prime_at_the_ends() -> None:
    assert d_prime(7, 16, "independent observation") == 0.0
    perfect, nearly = (d_prime(k, 16, "two alternatives") for k in (16, 15.5))
    assert perfect == nearly < 3.0


@pytest.mark.parametrize(
    ("rate", "by"),
    [
        (0.5, (0.0142, 0.0238, 0.0290, 0.0319)), (0.7, (0.2027, 0.5606, 0.9286)),
        (0.8, (0.4947, 0.9413, 0.9999)), (0.9, (0.8608, 0.9998, 1.0)),
    ],
)  # fmt: skip
def test_how_often_the_evidence_is_reached(rate: float, by: tuple[float, ...]) -> None:
    """Worked out independently, by enumeration."""
    reached = chance_to_reach(200, rate, 0.5)
    trials = (16, 40, 100, 200)[: len(by)]
    assert [reached[n - 1] for n in trials] == pytest.approx(by, abs=6e-5)


def test_median_trials_to_the_evidence() -> None:
    medians = [int(np.argmax(chance_to_reach(60, r, 0.5) >= 0.5)) + 1 for r in (0.7, 0.8, 0.9)]
    assert medians == [37, 17, 11]


def test_one_listener_against_a_fixed_key_is_the_binomial() -> None:
    rng = np.random.default_rng(1)
    key = [int(side) for side in rng.integers(2, size=12)]
    replies = [side if n < 9 else 1 - side for n, side in enumerate(key)]
    assert p_by_keys(key, [replies], alternatives=2) == pytest.approx(p_value(9, 12, 0.5))


def test_a_bias_that_all_listeners_share_is_no_finding() -> None:
    """Twenty listeners who always answer alike: pooled as if independent they would 'pass'."""
    key = [0] * 7 + [1] * 5
    everyone = [[0] * 12] * 20
    assert p_value(140, 240, 0.5) < 0.01
    assert p_by_keys(key, everyone, alternatives=2) == pytest.approx(p_value(7, 12, 0.5))
