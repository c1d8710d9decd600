"""How loud a piece is, fiftieth of a second by fiftieth: where it is silent."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEP_S = 0.02


def step_frames(rate_hz: int) -> int:
    """Length of a step."""
    return max(round(STEP_S * rate_hz), 1)


class StepMeter:
    """A meter of power, step by step, that a piece is passed through."""

    def __init__(self, rate_hz: int, channels: int) -> None:
        self._step = step_frames(rate_hz)
        self._waiting = np.zeros((0, channels))
        self._powers: list[Array] = []

    def add(self, block: Array) -> None:
        """Pass the next stretch through the meter."""
        known = np.concatenate([self._waiting, block]) if len(self._waiting) else block
        count = len(known) // self._step
        steps = known[: count * self._step].reshape(count, self._step, known.shape[1])
        squares = np.einsum("nfc,nfc->nc", steps, steps)
        self._powers.append(squares.max(axis=1) / self._step)
        self._waiting = known[count * self._step :].copy()

    def powers(self) -> Array:
        """Mean square of every whole step."""
        return np.concatenate([np.zeros(0), *self._powers])
