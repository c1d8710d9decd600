"""What happened seldom in a piece, and the tally that finds it in a run of excesses."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.hearing.events.scale import INTEGRATION_S, band_centres_hz, hop_frames

Array = NDArray[np.float64]

MAY_DB, WILL_DB = 6.0, 12.0
"""Excess from which an event may be heard, and will be.  What listeners just detect comes to
-2 to +9 dB here: clicks in quiet (Stapells and others 1982), gaps of 2 ms in noise (Snell and Hu
1995).  Coded music that is taken for the original stays below 3 dB."""
APART_S = 0.05
"""Nearer than this, two are one event."""
_PEAK_FRAMES = 4
"""An event is where it is greatest within so many frames of its beginning."""


@dataclass(frozen=True)
class EventAccount:
    """What happens seldom between two versions, and stands out of what masks it."""

    worst_db: float | None
    count: int = 0
    at_s: tuple[float, ...] = ()
    worst_s: float | None = None
    worst_hz: float | None = None
    reason: str = ""

    def as_json(self) -> dict[str, Any]:
        """The account as plain values."""
        found = asdict(self) | {"at_s": list(self.at_s)}
        finite = self.worst_db is not None and math.isfinite(self.worst_db)
        return found | {"worst_db": self.worst_db if finite else None}


class EventTally:
    """Finds events in excesses, frame by frame.

    An event begins where one frame exceeds the limit, or where 0.2 s together do.
    """

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz, self._hop = rate_hz, hop_frames(rate_hz)
        self._span = round(INTEGRATION_S * rate_hz / self._hop)
        self._apart = math.ceil(APART_S * rate_hz / self._hop)
        self._past = np.zeros((2, self._span - 1))
        self._frames = 0
        self._worst = (0.0, 0, 0)
        self._events: list[tuple[int, float, int]] = []
        """Frame, its excess, and the frame at which the event began."""
        self._last_hot = -self._apart - self._span
        self._together = False

    def take(self, excess: Array) -> None:
        """Add the next frames: excess as a ratio of energies, and the band of each."""
        both = np.concatenate([self._past, excess], axis=1)
        squares = np.lib.stride_tricks.sliding_window_view(np.square(both[0]), self._span)
        sums = np.sqrt(squares.sum(axis=1))
        most = int(sums.argmax())
        if sums[most] > self._worst[0]:
            place = most + int(both[0, most : most + self._span].argmax())
            frame = self._frames + place - (self._span - 1)
            self._worst = (float(sums[most]), frame, int(both[1, place]))
        self._find(both[0], sums)
        self._past = both[:, -(self._span - 1) :].copy()
        self._frames += excess.shape[1]

    def _find(self, ratios: Array, sums: Array) -> None:
        limit = 10.0 ** (MAY_DB / 10.0)
        before, single = self._span - 1, ratios[self._span - 1 :]
        for n in np.flatnonzero((single >= limit) | (sums >= limit) | self._ends(sums, limit)):
            frame = self._frames + int(n)
            if single[n] >= limit:
                if frame - self._last_hot >= self._apart:
                    self._events.append((frame, float(single[n]), frame))
                self._last_hot = frame
            at, peak, begun = self._events[-1] if self._events else (-self._span, math.inf, 0)
            if single[n] > peak and frame - begun < _PEAK_FRAMES:
                self._events[-1] = (frame, float(single[n]), begun)
            together = bool(sums[n] >= limit)
            if together and not self._together and frame - max(at, self._last_hot) > before:
                place = int(ratios[n : n + self._span].argmax())
                peak_frame = frame + place - before
                self._events.append((peak_frame, float(ratios[n + place]), peak_frame))
                self._last_hot = peak_frame
            self._together = together

    def _ends(self, sums: Array, limit: float) -> NDArray[np.bool_]:
        """Frames at which an excess over 0.2 s has just ended."""
        ahead = np.concatenate([[limit if self._together else 0.0], sums[:-1]])
        return (ahead >= limit) & (sums < limit)

    def account(self) -> EventAccount:
        """What was found so far."""
        highest, frame, band = self._worst
        if highest <= 0.0:
            return EventAccount(-math.inf)
        second = self._hop / self._rate_hz
        return EventAccount(
            worst_db=10.0 * math.log10(highest),
            count=len(self._events),
            at_s=tuple(max(one[0], 0) * second for one in self._events),
            worst_s=max(frame, 0) * second,
            worst_hz=float(band_centres_hz(self._rate_hz)[band]),
        )
