"""Hard clipping at the amplifier's output, high and low side apart."""

from __future__ import annotations

from stagefx.effects.effect import Setting
from stagefx.effects.limiting import Limiting, LimitSet

NAME = "clip"
SETTINGS = (
    Setting("high_v", "V", 0.0, 1e3, "highest voltage at the amplifier's output"),
    Setting("low_v", "V", -1e3, 0.0, "lowest voltage at the amplifier's output"),
)


def clip(high_v: float, low_v: float) -> Limiting:
    """Limit the level: v stays between two voltages, and nothing winds up.

    Parameters
    ----------
    high_v : float, V, > 0
        Highest voltage at the amplifier's output.
    low_v : float, V, < 0
        Lowest.

    Returns
    -------
    Limiting
        The effect.

    Examples
    --------
    >>> clip(13.5, -13.5).limits.high_v
    13.5
    """
    return Limiting(NAME, LimitSet(high_v=high_v, low_v=low_v), SETTINGS)
