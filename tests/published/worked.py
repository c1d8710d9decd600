"""How a worked example is asked of the program, and compared to the last digit that is printed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from scipy.optimize import brentq

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.circuit.response import Response
from stagefx.figures.table import compute_figures

PASSBAND_HZ = 1e-6
"""So low that no treble corner of an example matters; examples count from 0 Hz, not from 1 kHz."""


def figure(key: str, **tables: Any) -> float:
    """One figure of a stage, given as the tables of a stage file."""
    found = compute_figures(stage_from(tables)).figures[key]
    assert found.value is not None, f"{key}: {found.reason}"
    return found.value


def gain(**tables: Any) -> float:
    """EMF to load at 1 kHz, as a ratio."""
    return float(10.0 ** (figure("gain_db", **tables) / 20.0))


def response_db(hz: float, *, re_hz: float = PASSBAND_HZ, **tables: Any) -> float:
    """Level at a frequency, re another one."""
    curve = np.abs(Response(nominal(stage_from(tables)), np.array([hz, re_hz])).to_load[0])
    return float(20.0 * np.log10(curve[0] / curve[1]))


def crossing_hz(low_hz: float, high_hz: float, db: float, loss: Callable[[float], float]) -> float:
    """Where a loss is reached, between two frequencies."""
    return float(brentq(lambda hz: loss(hz) - db, low_hz, high_hz, xtol=1e-12, rtol=1e-14))


def agrees(value: float, printed: str) -> bool:
    """Whether a value is the printed one, to half a unit of its last digit."""
    decimals = len(printed.partition(".")[2])
    return abs(value - float(printed)) <= 0.5 * 10.0**-decimals * (1.0 + 1e-9)
