"""What an overshoot says of a loop, taken as a pure second-order low-pass with unity feedback."""

from __future__ import annotations

import math
from dataclasses import dataclass

from stagefx.units import decibels


@dataclass(frozen=True)
class SecondOrder:
    """A second-order low-pass by its damping."""

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

    Textbook control theory: the step response of a second-order system.
    """
    if share <= 0.0:
        return 1.0
    depth = -math.log(share)
    return depth / math.hypot(math.pi, depth)


def loop_of_ringing(damping: float, ringing_hz: float) -> tuple[float, float]:
    """The loop that rings at a frequency: T = f1 / (s (1 + s/f2)), frequencies for s."""
    natural = ringing_hz / SecondOrder(damping).ringing
    return natural / (2.0 * damping), 2.0 * damping * natural


def second_pole_hz(damping: float, unity_hz: float) -> float:
    """The second pole that gives a loop of known speed its damping."""
    return 4.0 * damping**2 * unity_hz
