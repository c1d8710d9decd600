"""Simulated listeners, taken through key, draws, codes and score like anybody else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from stagefx.blind.codes import HIGHEST_GRADE, Answer, Reply, decode_reply, encode_reply
from stagefx.blind.keys import SealedKey
from stagefx.blind.planning import BlindPlan
from stagefx.blind.protocol import find_protocol
from stagefx.blind.scoring import score
from stagefx.blind.statistics.binomial import USUAL_FALSE_PASS
from stagefx.blind.trials import CHOICES
from stagefx.errors import BlindError

USUAL_TESTS = 1000


@dataclass(frozen=True)
class SimulatedListener:
    """Somebody who hears some of the time and guesses the rest."""

    hit_rate: float
    bias: float = 0.0
    control_hit_rate: float = 1.0


def simulate_reply(
    listener: SimulatedListener,
    key: SealedKey,
    rng: np.random.Generator,
    *,
    trials: int,
    control_trials: int = 0,
    name: str = "",
) -> Reply:
    """What a simulated listener replies to a pack."""
    if key.protocol == "preference":
        raise BlindError("a preference has no right reply, so none can be simulated")
    chance = find_protocol(key.protocol).chance
    order = _order(key, rng, trials, control_trials)
    answers = []
    for item in order:
        hit = listener.control_hit_rate if key.items[item] == "control" else listener.hit_rate
        heard = rng.random() < (hit - chance) / (1.0 - chance)
        draw = int(rng.integers(CHOICES[key.protocol][0]))
        right = _right(key, item, draw)
        answers.append(Answer(item, draw, right if heard else _guess(key, listener, rng)))
    return Reply(key.pack, name, rng.bytes(8).hex(), tuple(answers))


def _order(key: SealedKey, rng: np.random.Generator, trials: int, control_trials: int) -> list[int]:
    """Items in turn; the controls at places drawn among them."""
    mains = [n for n, item in enumerate(key.items) if item == "main"]
    controls = [n for n, item in enumerate(key.items) if item == "control"]
    found = [mains[n % len(mains)] for n in range(trials)]
    for n in range(control_trials if controls else 0):
        found.insert(int(rng.integers(len(found) + 1)), controls[n % len(controls)])
    return found


def _right(key: SealedKey, item: int, draw: int) -> tuple[int, ...]:
    order = [int(digit) for digit in key.key[item]]
    if key.protocol == "abx":
        return (order[draw],)
    if key.protocol == "same-different":
        return (int(draw >> 1 != draw & 1),)
    if key.protocol == "triangle":
        return (draw // 2,)
    grades = (HIGHEST_GRADE, HIGHEST_GRADE - 5)
    return grades if order[draw] == 0 else grades[::-1]


def _guess(
    key: SealedKey, listener: SimulatedListener, rng: np.random.Generator
) -> tuple[int, ...]:
    replies = CHOICES[key.protocol][1] or 2
    guess = 0 if rng.random() < listener.bias else int(rng.integers(replies))
    if key.protocol != "triple":
        return (guess,)
    grades = (HIGHEST_GRADE, HIGHEST_GRADE - 5)
    return grades if guess == 0 else grades[::-1]


@dataclass(frozen=True)
class Simulation:
    """How a plan fared in simulated tests of one listener each.

    Parameters
    ----------
    tests : int
        How many were run with each kind of listener.
    passed_by_able, passed_by_guessers : float, 0 to 1
        Share of tests that were passed.
    """

    tests: int
    passed_by_able: float
    passed_by_guessers: float

    def as_json(self) -> dict[str, Any]:
        """The simulation as plain values.

        Returns
        -------
        dict
            ``tests``, ``passed_by_able``, ``passed_by_guessers``.
        """
        return dict(vars(self))


def simulate_plan(planned: BlindPlan, *, tests: int = USUAL_TESTS, seed: int = 0) -> Simulation:
    """Run a plan with simulated listeners, through key, page's draws, codes and score.

    Parameters
    ----------
    planned : BlindPlan
        What is planned.
    tests : int
        How many tests to run with a listener who is able, and as many with one who guesses and
        prefers the first reply half of the time.
    seed : int
        Of the simulation; a real pack never has one.

    Returns
    -------
    Simulation
        Shares that should lie near the plan's power and its false passes.

    Raises
    ------
    BlindError
        The protocol is a preference, which has no right reply.

    Examples
    --------
    >>> from stagefx.blind.planning import plan
    >>> found = simulate_plan(plan("abx", trials=16, able=0.9), tests=100)
    >>> found.passed_by_able > 0.9, found.passed_by_guessers < 0.15
    (True, True)
    """
    rng = np.random.default_rng(seed)
    able = SimulatedListener(planned.able)
    guesser = SimulatedListener(planned.chance, bias=0.5)
    shares = [_passed(planned, who, rng, tests) for who in (able, guesser)]
    return Simulation(tests, *shares)


def _passed(
    planned: BlindPlan, who: SimulatedListener, rng: np.random.Generator, tests: int
) -> float:
    passed = 0
    for _ in range(tests):
        key = simulated_key(planned.protocol, ("main",), rng)
        reply = simulate_reply(who, key, rng, trials=planned.trials)
        found = score(key, [("simulated", decode_reply(encode_reply(reply)))])
        passed += found.listeners[0].p <= USUAL_FALSE_PASS
    return passed / tests


def simulated_key(
    protocol: str, items: Sequence[str], rng: np.random.Generator
) -> SealedKey:  # fmt: skip
    """A key for simulations, which has a seed and must never seal a real pack."""
    drawn = tuple("01" if rng.random() < 0.5 else "10" for _ in items)
    return SealedKey(rng.bytes(8).hex(), protocol, drawn, tuple(items), rng.bytes(32).hex())
