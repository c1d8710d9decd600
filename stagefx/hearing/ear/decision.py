"""From differences of excitation to a calibrated probability: p = 1/2 is 75 % of two intervals.

``z = (L2 - L1) / (1 + q N / sqrt(E1 E2))`` in each band, E excitation, L its level in dB, N what is
new in every interval: the threshold of hearing and the room; its leaky mean over a tenth of a
second, in which ups and downs that follow each other cancel;
``d'^2 = k^2 (sum z^8)^(1/4)`` in each frame, its leaky mean over a second, the highest of a piece;
``p = 2 Phi(d' / sqrt 2) - 1 = erf(d' / 2)``: two intervals, corrected for guessing.

k and q are fitted to published thresholds by `stagefx.hearing.validation.calibration`.  That bands
add up to their eighth power says that the listener's own noise is common to them: a change of all
of them is hardly easier to hear than of the one that changes most (D. M. Green, Z. A. Onsan, T. G.
Forrest, JASA 81 (3), 1987; J.-P. Gagne, P. M. Zurek, JASA 83 (6), 1988).
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from stagefx.hearing.ear.background import room_energy, threshold_energy
from stagefx.hearing.ear.spreading import FRAMES_PER_SECOND

Array = NDArray[np.float64]

EVEN_CHANCE_D_PRIME = 0.9538725524
"""sqrt(2) Phi^-1(0.75): right in 75 % of two-interval trials."""


@dataclass(frozen=True)
class Decision:
    """The constants of the decision: d' of a decibel, weight of what is new, two memories."""

    d_prime_per_db: float
    new_noise_weight: float
    integration_s: float
    loudness_s: float

    def kernel_settings(self) -> Array:
        """In the order of `stagefx.kernels.ear.detect`: k^2, the leaky means' shares of the new."""
        leaks = [
            -math.expm1(-1.0 / (FRAMES_PER_SECOND * seconds))
            for seconds in (self.integration_s, self.loudness_s)
        ]
        return np.array([self.d_prime_per_db**2, *leaks])

    def new_noise(self, room_dba: float | None) -> Array:
        """Energy in each band [109], weighted: q N."""
        return self.new_noise_weight * (threshold_energy() + room_energy(room_dba))

    @property
    def step_db(self) -> float:
        """The just-noticeable step: a difference of one band alone that has an even chance."""
        return EVEN_CHANCE_D_PRIME / self.d_prime_per_db


@lru_cache(maxsize=1)
def decision() -> Decision:
    """The constants in use."""
    text = resources.files("stagefx.hearing.ear").joinpath("decision.toml").read_text("utf-8")
    return Decision(**tomllib.loads(text))


def probability(d_prime: float) -> float:
    """Of hearing a difference, at a sensitivity."""
    return math.erf(d_prime / 2.0)
