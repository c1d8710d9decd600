"""The amplifier's slew limit, and its lag below it."""

from __future__ import annotations

import math
from collections.abc import Iterator

from stagefx.circuit.limits import limits
from stagefx.effects.effect import Setting, check_settings
from stagefx.effects.kind import EffectKind, Piece, Place, Setup
from stagefx.effects.limits.limit_set import LimitSet
from stagefx.effects.limits.limiter import Limiting

NAME = "slew"
SETTINGS = (
    Setting("slew_rise_v_per_s", "V/s", 1.0, 1e12, "steepest rise at the amplifier's output"),
    Setting("slew_fall_v_per_s", "V/s", 1.0, 1e12, "steepest fall at the amplifier's output"),
    Setting("time_constant_s", "s", 0.0, 1.0, "time constant N/w_t of the closed loop", 0.0),
)


def slew(rise_v_per_s: float, fall_v_per_s: float, time_constant_s: float = 0.0) -> Limiting:
    """Limit the slope: dv/dt = S tanh((u - v)/(S tau)), tau short against the music.

    The law is that of an undegenerated bipolar pair.  For other input stages it overstates the
    distortion below slewing.  A sine comes out within 0.25 S tau of the law at any moment,
    within 0.6 S tau where its steepest slope is S itself.
    """
    stated = {"slew_rise_v_per_s": rise_v_per_s, "slew_fall_v_per_s": fall_v_per_s}
    finite = {name: value for name, value in stated.items() if value != math.inf}
    check_settings(NAME, SETTINGS, **finite, time_constant_s=time_constant_s)
    limits = LimitSet(
        slew_rise_v_per_s=rise_v_per_s,
        slew_fall_v_per_s=fall_v_per_s,
        time_constant_s=time_constant_s,
    )
    return Limiting(NAME, limits, SETTINGS)


def _pieces(setup: Setup) -> Iterator[Piece]:
    found = limits(setup.circuit)
    if found is None or found.slew_rise_v_per_s is None or found.slew_fall_v_per_s is None:
        return
    rise, fall = float(found.slew_rise_v_per_s[0]), float(found.slew_fall_v_per_s[0])
    yield Place.LIMITS, slew(rise, fall, float(found.time_constant_s[0]))


EFFECT = EffectKind(
    NAME,
    "the amplifier's slew limit, and its lag below it",
    SETTINGS,
    lambda stage: stage.amplifier is not None,
    _pieces,
)
