"""Whole blind tests with simulated listeners: key, page's draws, codes, score."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from scipy import stats

from stagefx.blind.codes import (
    Answer,
    Reply,
    decode_reply,
    encode_reply,
    reply_from_json,
)
from stagefx.blind.planning import plan
from stagefx.blind.protocol import find_protocol
from stagefx.blind.result import BlindScore
from stagefx.blind.scoring import score
from stagefx.blind.simulation import SimulatedListener, simulate_plan, simulate_reply, simulated_key
from stagefx.blind.statistics.binomial import p_value, power
from stagefx.blind.statistics.pooling import Share
from stagefx.blind.statistics.sensitivity import d_prime_same_different, share_right
from stagefx.blind.trials import open_trial
from stagefx.errors import BlindError

PROTOCOLS = ("abx", "same-different", "triangle", "triple")
hex16 = st.text("0123456789abcdef", min_size=16, max_size=16)
answers = st.lists(
    st.builds(Answer, st.integers(0, 255), st.integers(0, 255), st.tuples(st.integers(0, 255))),
    max_size=40,
)
names = st.text(max_size=10).filter(lambda text: len(text.encode("utf-8", "replace")) <= 40)


@given(hex16, names, hex16, answers)
@settings(max_examples=200, deadline=None)
def test_a_code_holds_the_reply(pack: str, name: str, sitting: str, given: list[Answer]) -> None:
    reply = Reply(pack, name.encode("utf-8", "replace").decode(), sitting, tuple(given))
    assert decode_reply(encode_reply(reply)) == reply
    assert reply_from_json(reply.as_json(), "a file") == reply


@given(st.integers(0, 10_000), st.sampled_from("ABCDEFGHIJKLMNOPQRSTUVWXYZ234567"))
@settings(max_examples=200, deadline=None)
def test_an_altered_code_is_refused(at: int, letter: str) -> None:
    reply = Reply("0123456789abcdef", "Ada", "f" * 16, tuple(Answer(0, 1, (1,)) for _ in range(16)))
    code = encode_reply(reply)
    places = [n for n, found in enumerate(code) if found != "-"]
    place = places[at % len(places)]
    altered = code[:place] + letter + code[place + 1 :]
    try:
        found = decode_reply(altered)
    except BlindError:
        return
    assert found == reply  # the same letter, or the last letter's spare bits


@pytest.mark.parametrize("protocol", PROTOCOLS)
def test_the_simulated_pass_as_often_as_the_plan_says(protocol: str) -> None:
    planned = plan(protocol, trials=24, able=0.75)
    found = simulate_plan(planned, tests=800, seed=3)
    spread = 4.0 * np.sqrt(0.25 / 800)
    assert found.passed_by_able == pytest.approx(planned.power, abs=spread)
    assert found.passed_by_guessers <= 0.05 + 4.0 * np.sqrt(0.05 * 0.95 / 800)
    kind = find_protocol(protocol)
    assert planned.power == power(24, kind.chance, 0.75)


def pooled(
    protocol: str, listeners: list[SimulatedListener], rng: np.random.Generator, trials: int
) -> BlindScore:
    key = simulated_key(protocol, ["main", "main", "control"], rng)
    replies = [
        ("here", simulate_reply(who, key, rng, trials=trials, control_trials=5, name=f"L{n}"))
        for n, who in enumerate(listeners)
    ]
    return score(key, replies)


@pytest.mark.parametrize("protocol", ["abx", "triangle"])
def test_a_thousand_biased_listeners_on_one_public_pack(protocol: str) -> None:
    """All prefer the first reply nine times in ten; the pooled test still keeps its 5 %."""
    rng = np.random.default_rng(11)
    chance = find_protocol(protocol).chance
    biased = [SimulatedListener(chance, bias=0.9) for _ in range(1000)]
    p_values = []
    for _ in range(16):
        key = simulated_key(protocol, ["main", "main"], rng)
        trials = [
            open_trial(answer, key)
            for who in biased
            for answer in simulate_reply(who, key, rng, trials=3).answers
        ]
        p_values.append(p_value(sum(t.right for t in trials), len(trials), chance))
    assert sum(p <= 0.05 for p in p_values) <= 3  # 4 or more: 0.7 % of such runs
    assert stats.kstest(p_values, "uniform", alternative="greater").pvalue > 0.01


def test_the_share_who_hear_is_found() -> None:
    rng = np.random.default_rng(12)
    some = [SimulatedListener(0.5 + 0.5 * (n < 60)) for n in range(200)]
    found = pooled("abx", some, rng, 10).pooled
    assert found is not None
    assert isinstance(found.share_who_hear, Share)
    assert found.share_who_hear.low < 0.3 < found.share_who_hear.high


def test_d_prime_of_same_and_different_against_simulated_ears() -> None:
    """Two draws from normal laws d' apart, "different" where they lie more than k apart."""
    rng = np.random.default_rng(13)
    distance, k, trials = 1.8, 1.6, 200_000
    noise = rng.standard_normal((4, trials))
    different = int((np.abs(distance + noise[0] - noise[1]) > k).sum())
    same = int((np.abs(noise[2] - noise[3]) > k).sum())
    found = d_prime_same_different((different // 4, trials // 4), (same // 4, trials // 4))
    assert found == pytest.approx(distance, abs=0.03)


@pytest.mark.parametrize("model", ["independent observation", "differencing abx"])
def test_d_prime_of_abx_against_simulated_ears(model: str) -> None:
    rng = np.random.default_rng(14)
    distance, trials = 1.5, 400_000
    a, b, x = rng.standard_normal((3, trials))
    b, x_is_b = b + distance, rng.random(trials) < 0.5
    x = x + distance * x_is_b
    if model == "independent observation":  # the order of A and B, then X against the middle
        says_b = np.where(b > a, x > 0.5 * distance, x < 0.5 * distance)
    else:
        says_b = np.abs(x - b) < np.abs(x - a)
    assert (says_b == x_is_b).mean() == pytest.approx(share_right(distance, model), abs=0.003)
