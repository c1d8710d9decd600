"""Hard clipping at the amplifier's output, high and low side apart."""

from __future__ import annotations

import math
from collections.abc import Iterator

from stagefx.circuit.limits import limits, stated_direct_v
from stagefx.effects.effect import Setting, check_settings
from stagefx.effects.kind import EffectKind, Piece, Place, Setup
from stagefx.effects.limits.limit_set import LimitSet
from stagefx.effects.limits.limiter import Limiting

NAME = "clip"
SETTINGS = (
    Setting("high_v", "V", 1e-9, 1e3, "highest voltage at the amplifier's output"),
    Setting("low_v", "V", -1e3, -1e-9, "lowest voltage at the amplifier's output"),
)


def clip(high_v: float, low_v: float) -> Limiting:
    """Limit the level: v stays between two voltages, and nothing winds up."""
    high = {} if high_v == math.inf else {"high_v": high_v}
    low = {} if low_v == -math.inf else {"low_v": low_v}
    check_settings(NAME, SETTINGS, **high, **low)
    return Limiting(NAME, LimitSet(high_v=high_v, low_v=low_v), SETTINGS)


def _pieces(setup: Setup) -> Iterator[Piece]:
    found = limits(setup.circuit)
    if found is None or found.high_v is None or found.low_v is None:
        return
    direct = float(stated_direct_v(setup.circuit)[0, 0])
    levels = LimitSet(float(found.high_v[0]) + direct, float(found.low_v[0]) + direct)
    yield Place.LIMITS, Limiting(NAME, levels, SETTINGS)  # what is left of them is checked later


EFFECT = EffectKind(
    NAME,
    "hard clipping at the amplifier's output",
    SETTINGS,
    lambda stage: stage.amplifier is not None,
    _pieces,
)
