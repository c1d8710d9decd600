"""What an overshoot says of a loop, taken as a pure second-order low-pass with unity feedback."""

from __future__ import annotations

import math
from dataclasses import dataclass

from stagefx.units import decibels


@dataclass(frozen=True)
class SecondOrder:
    """A second-order low-pass by its damping.

    Parameters
    ----------
    damping : float, 0 to 1
        Damping ratio zeta.
    """

    damping: float

    @property
    def quality(self) -> float:
        """Q = 1 / (2 zeta)."""
        return 0.5 / self.damping

    @property
    def peaking_db(self) -> float:
        """Highest rise over the level at low frequencies, dB."""
        if self.damping >= math.sqrt(0.5):
            return 0.0
        return -decibels(2.0 * self.damping * math.sqrt(1.0 - self.damping**2))

    @property
    def crossover(self) -> float:
        """Where the loop gain is one, over the natural frequency."""
        square = self.damping**2
        return math.sqrt(math.sqrt(1.0 + 4.0 * square**2) - 2.0 * square)

    @property
    def phase_margin_deg(self) -> float:
        """Phase left to 180 degrees where the loop gain is one."""
        return math.degrees(math.atan(2.0 * self.damping / self.crossover))

    @property
    def ringing(self) -> float:
        """Frequency of the ringing, over the natural frequency."""
        return math.sqrt(1.0 - self.damping**2)


def damping_of_overshoot(share: float) -> float:
    """The damping ratio that an overshoot tells.

    zeta = L / sqrt(pi² + L²), with L = -ln(overshoot)

    Parameters
    ----------
    share : float, ratio, 0 to 1
        How far a small step passes its final value.

    Returns
    -------
    float, 0 to 1
        1 where nothing passes it.

    References
    ----------
    Textbook control theory: the step response of a second-order system.

    Examples
    --------
    >>> zeta = damping_of_overshoot(0.25)
    >>> round(zeta, 6), round(SecondOrder(zeta).phase_margin_deg, 3)
    (0.403713, 43.463)
    """
    if share <= 0.0:
        return 1.0
    depth = -math.log(share)
    return depth / math.hypot(math.pi, depth)


def loop_of_ringing(damping: float, ringing_hz: float) -> tuple[float, float]:
    """The loop that rings at a frequency: T = f1 / (s (1 + s/f2)), frequencies for s.

    Parameters
    ----------
    damping : float, 0 to 1, ends excluded
        Damping ratio.
    ringing_hz : float, Hz
        Frequency of the ringing.

    Returns
    -------
    unity_hz : float, Hz
        f1: where the loop gain would be one without the second pole, gain-bandwidth over noise
        gain.
    second_pole_hz : float, Hz
        f2.

    Examples
    --------
    >>> unity, second = loop_of_ringing(0.25, 1e6)
    >>> round(unity), round(second)
    (2065591, 516398)
    """
    natural = ringing_hz / SecondOrder(damping).ringing
    return natural / (2.0 * damping), 2.0 * damping * natural


def second_pole_hz(damping: float, unity_hz: float) -> float:
    """The second pole that gives a loop of known speed its damping.

    Parameters
    ----------
    damping : float
        Damping ratio.
    unity_hz : float, Hz
        Gain-bandwidth over noise gain.

    Returns
    -------
    float, Hz
        4 zeta² f1.

    Examples
    --------
    >>> second_pole_hz(0.5, 1e6)
    1000000.0
    """
    return 4.0 * damping**2 * unity_hz
