"""From a score to d', the distance between two versions in units of a listener's uncertainty.

d' is 0 at chance and below; a perfect score is taken as half an answer less.  Which decision
model turned a score into it is always told, since the models differ.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr, ndtri

from stagefx.blind.protocol import Protocol
from stagefx.blind.statistics.binomial import check_score

_MOST = 12.0
_ROOT_2, _ROOT_3, _ROOT_6 = math.sqrt(2.0), math.sqrt(3.0), math.sqrt(6.0)
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(200)


def share_right(d_prime: float, model: str) -> float:
    """The share of right answers that a distance gives.

    N. A. Macmillan, C. D. Creelman, Detection Theory, 2nd ed., 2005, chapter 9: ABX (from memory);
    D. M. Ennis, J. Sensory Studies 8, 1993: triangle (from memory).
    """
    return _SHARE[model](d_prime)


def d_prime(correct: float, trials: int, model: str) -> float:
    """The distance that a score speaks for."""
    check_score(math.ceil(correct), trials, least=1)
    share = min(correct, trials - 0.5) / trials
    return distance_for(share, model)


def distance_for(share: float, model: str) -> float:
    """The distance at which a share of answers is right."""
    right = _SHARE[model]
    if share <= right(0.0):
        return 0.0
    return float(brentq(lambda d: right(d) - share, 0.0, _MOST, xtol=1e-12))


def d_prime_same_different(
    different: tuple[int, int], same: tuple[int, int]
) -> float:  # fmt: skip
    """The distance from answers to pairs that differ and pairs that do not.

    A listener answers "different" where the two are more than k apart (differencing):
    ``F = 2 Phi(-k / sqrt 2)``, ``H = Phi((d' - k) / sqrt 2) + Phi((-d' - k) / sqrt 2)``

    N. A. Macmillan, C. D. Creelman, Detection Theory, 2nd ed., 2005, chapter 9 (from memory).
    """
    hits, false_alarms = (_inside(*counts) for counts in (different, same))
    if hits <= false_alarms:
        return 0.0
    k = -_ROOT_2 * float(ndtri(0.5 * false_alarms))

    def called_different(d: float) -> float:
        return float(ndtr((d - k) / _ROOT_2) + ndtr((-d - k) / _ROOT_2))

    return float(brentq(lambda d: called_different(d) - hits, 0.0, _MOST + 2.0 * k, xtol=1e-12))


def listener_d_prime(protocol: Protocol, correct: int, trials: int) -> float | None:
    """The distance by the protocol's own model."""
    if protocol.name in {"same-different", "preference"}:
        return None
    return d_prime(correct, trials, protocol.model)


def _inside(answers: int, trials: int) -> float:
    check_score(answers, trials, least=1)
    return min(max(answers, 0.5), trials - 0.5) / trials


def _two(d: float) -> float:
    return float(ndtr(d / _ROOT_2))


def _three(d: float) -> float:
    """Integral of phi(x - d) Phi(x)^2."""
    x = 0.5 * d + (9.0 + 0.5 * d) * _NODES
    return float((9.0 + 0.5 * d) * (_WEIGHTS * _phi(x - d) * ndtr(x) ** 2).sum())


def _abx_independent(d: float) -> float:
    return float(
        ndtr(d / _ROOT_2) * ndtr(0.5 * d) + ndtr(-d / _ROOT_2) * ndtr(-0.5 * d)
    )  # fmt: skip


def _abx_differencing(d: float) -> float:
    return float(
        ndtr(d / _ROOT_2) * ndtr(d / _ROOT_6) + ndtr(-d / _ROOT_2) * ndtr(-d / _ROOT_6)
    )  # fmt: skip


def _triangle(d: float) -> float:
    """2 integral from 0 of {Phi(-x sqrt3 + d sqrt(2/3)) + Phi(-x sqrt3 - d sqrt(2/3))} phi(x)."""
    x = 4.5 * (_NODES + 1.0)
    far = d * _ROOT_2 / _ROOT_3
    inside = ndtr(-x * _ROOT_3 + far) + ndtr(-x * _ROOT_3 - far)
    return float(9.0 * (_WEIGHTS * inside * _phi(x)).sum())


def _phi(x: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi))


_SHARE: dict[str, Callable[[float], float]] = {
    "two alternatives": _two,
    "three alternatives": _three,
    "independent observation": _abx_independent,
    "differencing abx": _abx_differencing,
    "comparison of distances": _triangle,
}
