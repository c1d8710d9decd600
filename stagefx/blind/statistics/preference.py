"""Which of several versions is liked better: paired choices put on one scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.sparse.csgraph import connected_components
from scipy.special import expit, gammaincc, ndtri

from stagefx.errors import BlindError


@dataclass(frozen=True)
class Worth:
    """How well a version is liked, re the first of them."""

    version: str
    log_worth: float
    low: float
    high: float

    def as_json(self) -> dict[str, Any]:
        """The worth as plain values."""
        return dict(vars(self))


def log_worths(versions: Sequence[str], wins: NDArray[np.int64]) -> tuple[Worth, ...]:
    """Paired choices turned into one scale, by Bradley and Terry's law.

    ``P(i over j) = worth_i / (worth_i + worth_j)``

    Choices are taken as independent; several from one listener are less so than they seem.

    R. A. Bradley, M. E. Terry, Biometrika 39, 1952.
    """
    wins = np.asarray(wins, dtype=np.float64)
    if len(versions) < 2 or wins.shape != (len(versions), len(versions)):
        raise BlindError("a preference needs two versions or more, and counts for each pair")
    np.fill_diagonal(wins, 0.0)
    pieces, _ = connected_components(wins > 0.0, connection="strong")
    if pieces > 1:
        raise BlindError(
            "these choices put no version on a scale with the others: some were always chosen "
            "over the rest, or never compared; collect more replies"
        )
    both = wins + wins.T

    scale = 1.0 / both.sum()

    def unlikely(free: NDArray[np.float64]) -> float:
        apart = np.subtract.outer(_whole(free), _whole(free))
        return float(scale * (wins * np.logaddexp(0.0, -apart)).sum())

    def slope(free: NDArray[np.float64]) -> NDArray[np.float64]:
        apart = np.subtract.outer(_whole(free), _whole(free))
        return np.asarray(scale * (both * expit(apart) - wins).sum(axis=1)[1:])

    start = np.zeros(len(versions) - 1)
    found = minimize(unlikely, start, jac=slope, method="BFGS", options={"gtol": 1e-12})
    worth = _whole(found.x)
    chosen = expit(np.subtract.outer(worth, worth))
    curvature = -both * chosen * (1.0 - chosen)
    np.fill_diagonal(curvature, 0.0)
    np.fill_diagonal(curvature, -curvature.sum(axis=1))
    errors = np.sqrt(np.diag(np.linalg.inv(curvature[1:, 1:])))
    half = _whole(float(ndtri(0.975)) * errors)
    return tuple(
        Worth(version, float(value), float(value - side), float(value + side))
        for version, value, side in zip(versions, worth, half, strict=True)
    )


def _whole(free: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.concatenate([[0.0], free])


def p_all_alike(wins: NDArray[np.int64]) -> float:
    """How often choices would be so uneven if all versions were liked alike.

    Choices are taken as independent, and the law of the ratio is that of many choices.
    """
    found = log_worths([str(number) for number in range(len(wins))], wins)
    worth = np.array([one.log_worth for one in found])
    apart = np.subtract.outer(worth, worth)
    more = float((wins * (np.log(2.0) - np.logaddexp(0.0, -apart))).sum())
    return float(gammaincc(0.5 * (len(wins) - 1), more))
