"""What the ear model found: figures, their course over time, and where the difference stands."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LEAST_STEPS_DB = -120.0
"""Differences smaller than a millionth of a just-noticeable step are shown as this."""
_MOST_IN_JSON = 256


@dataclass(frozen=True)
class Course:
    """How near a difference comes to being heard, from the beginning to the end."""

    step_s: float
    probability: Array
    evidence: Array

    def thinned(self, most: int) -> Course:
        """The same with fewer values."""
        few = -(-self.probability.size // most)
        if few <= 1:
            return self
        starts = np.arange(0, self.probability.size, few)
        return Course(
            self.step_s * few,
            np.maximum.reduceat(self.probability, starts),
            np.maximum.reduceat(self.evidence, starts),
        )


@dataclass(frozen=True)
class Landscape:
    """Where in the music and at which frequencies a difference stands how high."""

    cell_s: float
    edges_hz: Array
    steps_db: Array

    @property
    def cells(self) -> int:
        """How many stretches of time."""
        return int(self.steps_db.shape[1])


@dataclass(frozen=True)
class EarAccount:
    """What the ear model says of two versions of a piece."""

    detection_probability: float | None
    standard_probability: float | None
    noise_to_mask_db: float | None
    disturbed_frames_share: float | None
    worst_s: float | None
    worst_hz: float | None
    worst_steps_db: float | None
    course: Course
    landscape: Landscape
    reason: str = ""

    def as_json(self) -> dict[str, Any]:
        """The account as plain values."""
        course = self.course.thinned(_MOST_IN_JSON)
        why = self.reason or "no difference"
        return {
            "detection_probability": _plain(self.detection_probability, why),
            "standard_probability": _plain(self.standard_probability, why),
            "noise_to_mask_db": _plain(self.noise_to_mask_db, why),
            "disturbed_frames_share": _plain(self.disturbed_frames_share, why),
            "worst_s": _plain(self.worst_s, why),
            "worst_hz": _plain(self.worst_hz, why),
            "worst_steps_db": _plain(self.worst_steps_db, why),
            "course": {
                "step_s": course.step_s,
                "probability": [float(f"{value:.4g}") for value in course.probability],
            },
            "landscape": {
                "cell_s": self.landscape.cell_s,
                "edges_hz": self.landscape.edges_hz.round(1).tolist(),
                "steps_db": self.landscape.steps_db.round(1).tolist(),
            },
        }


@dataclass(frozen=True)
class MaskAccount:
    """How far a remainder stays under what its music masks."""

    noise_to_mask_db: float | None
    disturbed_frames_share: float | None
    worst_s: float | None
    worst_hz: float | None
    worst_db: float | None
    reason: str = ""

    def as_json(self) -> dict[str, Any]:
        """The account as plain values."""
        why = self.reason or "nothing remains"
        return {
            "noise_to_mask_db": _plain(self.noise_to_mask_db, why),
            "disturbed_frames_share": _plain(self.disturbed_frames_share, why),
            "worst_s": _plain(self.worst_s, why),
            "worst_hz": _plain(self.worst_hz, why),
            "worst_db": _plain(self.worst_db, why),
        }


def _plain(value: float | None, reason: str) -> Any:
    if value is None or not math.isfinite(value):
        return {"value": None, "reason": reason}
    return value
