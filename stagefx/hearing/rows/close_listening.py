"""The ear model on the two stretches that a quieter room would decide by."""

from __future__ import annotations

import numpy as np

from stagefx.difference.decomposition import Difference
from stagefx.difference.pairs import side_by_side
from stagefx.dsp.envelope import STEP_S
from stagefx.hearing.ear.account import EarAccount
from stagefx.hearing.ear.detection import EarPair
from stagefx.io.recording import Recording

STRETCH_S = 5.0
"""The ear's memory is full after two seconds."""
_LEAST_POWER = 1e-12
"""A stretch under -117 dBFS is digital silence, in which there is nothing to be heard."""


def listen_closely(
    first: Recording,
    second: Recording,
    difference: Difference,
    *,
    full_scale_spl_db: float,
    matched_db: float,
    room_dba: float | None,
    worst_s: float | None,
) -> EarAccount:
    """What an ear makes of the quietest stretch, and of that about the worst moment: the worse."""
    made = first.format
    seconds = (difference.stop - difference.start) / made.rate_hz
    begins = {_quietest_s(difference, seconds)}
    if worst_s is not None:
        begins.add(min(max(worst_s - STRETCH_S / 2.0, 0.0), max(seconds - STRETCH_S, 0.0)))
    factor = difference.alignment.polarity * 10.0 ** (-matched_db / 20.0)
    accounts = []
    for begin in sorted(begins):
        start = difference.start + round(begin * made.rate_hz)
        stop = min(start + round(STRETCH_S * made.rate_hz), difference.stop)
        ear = EarPair(made.rate_hz, made.channels, full_scale_spl_db, room_dba)
        for pair in side_by_side(first, second, difference.alignment, start=start, stop=stop):
            ear.add(pair.first, factor * pair.second)
        accounts.append(ear.account())
    return max(accounts, key=lambda account: account.detection_probability or 0.0)


def _quietest_s(difference: Difference, seconds: float) -> float:
    """Where the quietest stretch begins that is not silence, re the start of the comparison."""
    steps, size = difference.step_powers, round(STRETCH_S / STEP_S)
    if seconds <= STRETCH_S or len(steps) <= size:
        return 0.0
    total = np.concatenate([[0.0], np.cumsum(steps)])
    mean = (total[size:] - total[:-size]) / size
    mean = np.where(mean > _LEAST_POWER, mean, np.inf)
    return float(np.argmin(mean)) * STEP_S
