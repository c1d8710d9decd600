"""How loud a piece is, fiftieth of a second by fiftieth: where it is silent."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEP_S = 0.02


def step_frames(rate_hz: int) -> int:
    """Length of a step.

    Parameters
    ----------
    rate_hz : int, Hz
        Sampling rate.

    Returns
    -------
    int, frames
        A fiftieth of a second.

    Examples
    --------
    >>> step_frames(44100)
    882
    """
    return max(round(STEP_S * rate_hz), 1)


class StepMeter:
    """A meter of power, step by step, that a piece is passed through.

    Parameters
    ----------
    rate_hz : int, Hz
        Sampling rate.
    channels : int, 1 or more
        Number of channels.

    Examples
    --------
    >>> meter = StepMeter(44100, 2)
    >>> meter.add(np.array([[0.5, 0.1]] * 2000))
    >>> meter.powers()
    array([0.25, 0.25])
    """

    def __init__(self, rate_hz: int, channels: int) -> None:
        self._step = step_frames(rate_hz)
        self._waiting = np.zeros((0, channels))
        self._powers: list[Array] = []

    def add(self, block: Array) -> None:
        """Pass the next stretch through the meter.

        Parameters
        ----------
        block : ndarray of float64 [frames, channels]
            Any number of frames.
        """
        known = np.concatenate([self._waiting, block]) if len(self._waiting) else block
        count = len(known) // self._step
        steps = known[: count * self._step].reshape(count, self._step, known.shape[1])
        squares = np.einsum("nfc,nfc->nc", steps, steps)
        self._powers.append(squares.max(axis=1) / self._step)
        self._waiting = known[count * self._step :].copy()

    def powers(self) -> Array:
        """Mean square of every whole step.

        Returns
        -------
        ndarray of float64 [steps], full scale squared
            Of the loudest channel.
        """
        return np.concatenate([np.zeros(0), *self._powers])
