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
    """How near a difference comes to being heard, from the beginning to the end.

    Parameters
    ----------
    step_s : float, s
        From one value to the next.
    probability : ndarray of float64 [steps]
        Largest calibrated probability of detection in each.
    evidence : ndarray of float64 [steps]
        Squared sensitivities, summed over bands, mean over time.

    Examples
    --------
    >>> Course(0.5, np.array([0.0, 0.25, 0.125]), np.zeros(3)).thinned(2).probability
    array([0.25 , 0.125])
    """

    step_s: float
    probability: Array
    evidence: Array

    def thinned(self, most: int) -> Course:
        """The same with fewer values.

        Parameters
        ----------
        most : int, 1 or more
            How many values at most.

        Returns
        -------
        Course
            The largest of each few; itself where there are no more anyway.
        """
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
    """Where in the music and at which frequencies a difference stands how high.

    Parameters
    ----------
    cell_s : float, s
        Length of a cell.
    edges_hz : ndarray of float64 [bands + 1], Hz
        Edges of the bands, a Bark apart.
    steps_db : ndarray of float64 [bands, cells], dB
        Largest difference of excitation re the just-noticeable step; 0 dB in one band alone, for
        seconds, has an even chance.

    Examples
    --------
    >>> Landscape(1.0, np.array([80.0, 200.0]), np.zeros((1, 4))).cells
    4
    """

    cell_s: float
    edges_hz: Array
    steps_db: Array

    @property
    def cells(self) -> int:
        """How many stretches of time."""
        return int(self.steps_db.shape[1])


@dataclass(frozen=True)
class EarAccount:
    """What the ear model says of two versions of a piece.

    Parameters
    ----------
    detection_probability : float or None
        That the difference is noticed, 0 to 1, calibrated: at 1/2 the median trained listener is
        right in 75 % of two-interval trials; None where the music is too short to tell.
    standard_probability : float or None
        What ITU-R BS.1387 makes of it, who takes bands as independent looks; mean of both orders.
    noise_to_mask_db : float or None, dB
        Of the difference, the worst channel; minus infinity without any, None as above.
    disturbed_frames_share : float or None
        Share of the frames in which some band's difference passes the mask by 1.5 dB.
    worst_s : float or None, s
        Time of the largest difference re the just-noticeable step, from the first frame on.
    worst_hz : float or None, Hz
        Middle of the band it is in.
    worst_steps_db : float or None, dB
        How large it is.
    course : Course
        Over time.
    landscape : Landscape
        Over time and frequency.
    reason : str
        Why there is no probability, else empty.
    """

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
        """The account as plain values.

        Returns
        -------
        dict
            ``{"value": None, "reason": …}`` where there is no number.
        """
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
    """How far a remainder stays under what its music masks.

    Parameters
    ----------
    noise_to_mask_db : float or None, dB
        Mean over time and bands, the worst channel; minus infinity where nothing remains, None
        where the music is too short to tell.
    disturbed_frames_share : float or None
        Share of the frames in which some band passes the mask by 1.5 dB.
    worst_s : float or None, s
        Time at which a band comes nearest to its mask, from the first frame on.
    worst_hz : float or None, Hz
        Middle of that band.
    worst_db : float or None, dB
        How far it is over the mask there.
    reason : str
        Why there are no figures, else empty.
    """

    noise_to_mask_db: float | None
    disturbed_frames_share: float | None
    worst_s: float | None
    worst_hz: float | None
    worst_db: float | None
    reason: str = ""

    def as_json(self) -> dict[str, Any]:
        """The account as plain values.

        Returns
        -------
        dict
            ``{"value": None, "reason": …}`` where there is no number.
        """
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
