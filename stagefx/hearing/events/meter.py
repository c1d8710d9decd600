"""The meter of events: what no steady linear filter explains, in short frames, over masking."""

from __future__ import annotations

import copy

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stagefx.hearing.ear.masking import check_pair
from stagefx.hearing.events.account import EventAccount, EventTally
from stagefx.hearing.events.desk import Desk
from stagefx.hearing.events.scale import hop_frames
from stagefx.hearing.events.stream import Stream

Array = NDArray[np.float64]


class EventMeter:
    """A meter that two versions, and what a filter leaves of them, are passed through.

    A true event is left whatever steady filter is taken away, so of several remainders the least
    counts, band by band: the long filter's, the plain gain's, and where these come near masking
    the short filter's.  What masks is the lesser of both versions, band by band: a hole is not
    hidden by what should have been there.  What is steady for a second or two, in level or in
    relation to what masks it, is no event.

    N. F. Viemeister, G. H. Wakefield, "Temporal integration and multiple looks", J. Acoust. Soc.
    Am. 90, 1991, 858: squared ratios add up over frames.  D. M. Green, "Detection of multiple
    component signals in noise", J. Acoust. Soc. Am. 30, 1958, 904 (from memory): and over bands.
    """

    def __init__(
        self,
        rate_hz: int,
        channels: int,
        full_scale_spl_db: float,
        *,
        room_dba: float | None = None,
        gain: float = 1.0,
        taps: Array | None = None,
    ) -> None:
        self._channels = channels
        self._stream = Stream(
            Desk(rate_hz, channels, full_scale_spl_db, room_dba),
            hop_frames(rate_hz),
            gain,
            taps,
            EventTally(rate_hz),
        )

    def add(self, first: ArrayLike, second: ArrayLike, left: ArrayLike) -> None:
        """Pass the next stretch through the meter."""
        one, other = check_pair(first, second, self._channels)
        _, rest = check_pair(first, left, self._channels)
        self._stream.take((one, other, rest))

    def account(self) -> EventAccount:
        """What was found so far."""
        return copy.deepcopy(self._stream).end()


def excess_of(
    expected: ArrayLike,
    heard: ArrayLike,
    rate_hz: int,
    full_scale_spl_db: float,
    *,
    room_dba: float | None = None,
) -> EventAccount:
    """What a short stretch has more than it should have, over what masks it."""
    one, other = np.asarray(expected, np.float64), np.asarray(heard, np.float64)
    channels = one.shape[-1] if one.ndim else 1
    one_row, other_row = check_pair(one, other, channels)
    meter = EventMeter(rate_hz, channels, full_scale_spl_db, room_dba=room_dba)
    meter.add(one, other, (other_row - one_row).T)
    return meter.account()
