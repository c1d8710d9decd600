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

    Parameters
    ----------
    rate_hz : int, Hz
        Sampling rate.
    channels : int, 1 or more
        Number of channels.
    full_scale_spl_db : float, dB SPL
        Of a full-scale sine.
    room_dba : float or None, dBA
        The room's noise; None for none.
    gain : float
        Level of the second re the first.
    taps : ndarray of float64 [channels, odd] or None
        A short filter from the first to the second, its present in the middle; None where only
        the gain is known.

    Notes
    -----
    A true event is left whatever steady filter is taken away, so of several remainders the least
    counts, band by band: the long filter's, the plain gain's, and where these come near masking
    the short filter's.  What masks is the lesser of both versions, band by band: a hole is not
    hidden by what should have been there.  What is steady for a second or two, in level or in
    relation to what masks it, is no event.

    References
    ----------
    N. F. Viemeister, G. H. Wakefield, "Temporal integration and multiple looks", J. Acoust. Soc.
    Am. 90, 1991, 858: squared ratios add up over frames.  D. M. Green, "Detection of multiple
    component signals in noise", J. Acoust. Soc. Am. 30, 1958, 904 (from memory): and over bands.

    Examples
    --------
    >>> music = 0.01 * np.random.default_rng(1).standard_normal((48000, 1))
    >>> clicked = music.copy()
    >>> clicked[[12000, 36000]] += 0.5
    >>> meter = EventMeter(48000, 1, 100.0)
    >>> meter.add(music, clicked, clicked - music)
    >>> found = meter.account()
    >>> found.count, [round(at, 2) for at in found.at_s], found.worst_db > 12.0
    (2, [0.25, 0.75], True)
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
        """Pass the next stretch through the meter.

        Parameters
        ----------
        first, second : array-like [frames, channels], full scale 1.0
            The same frames of both versions, each as it is heard.
        left : array-like [frames, channels], full scale 1.0
            What the best filter known leaves of the second; the second less the first where none
            is known.

        Raises
        ------
        AudioError
            A block has not the shape (frames, channels) of this meter.
        ComparisonError
            One is longer than another.
        """
        one, other = check_pair(first, second, self._channels)
        _, rest = check_pair(first, left, self._channels)
        self._stream.take((one, other, rest))

    def account(self) -> EventAccount:
        """What was found so far.

        Returns
        -------
        EventAccount
            As if both ended here.
        """
        return copy.deepcopy(self._stream).end()


def excess_of(
    expected: ArrayLike,
    heard: ArrayLike,
    rate_hz: int,
    full_scale_spl_db: float,
    *,
    room_dba: float | None = None,
) -> EventAccount:
    """What a short stretch has more than it should have, over what masks it.

    Parameters
    ----------
    expected, heard : array-like [frames, channels], full scale 1.0
        The stretch as a clean edit would sound, and as it does; with what is played before it,
        0.2 s where there is so much, as far as that masks it.
    rate_hz : int, Hz
        Sampling rate.
    full_scale_spl_db : float, dB SPL
        Of a full-scale sine.
    room_dba : float or None, dBA
        The room's noise; None for none.

    Returns
    -------
    EventAccount
        Of the whole stretch; under a second of it nothing is taken as steady.

    Raises
    ------
    AudioError
        A stretch has not the shape (frames, channels).
    ComparisonError
        One is longer than the other.

    Examples
    --------
    >>> tone = 0.1 * np.sin(0.05 * np.arange(4800))[:, None]
    >>> broken = np.where(np.arange(4800)[:, None] < 2400, tone, 0.05 + tone)
    >>> excess_of(tone, broken, 48000, 100.0).worst_db > 12.0
    True
    """
    one, other = np.asarray(expected, np.float64), np.asarray(heard, np.float64)
    channels = one.shape[-1] if one.ndim else 1
    one_row, other_row = check_pair(one, other, channels)
    meter = EventMeter(rate_hz, channels, full_scale_spl_db, room_dba=room_dba)
    meter.add(one, other, (other_row - one_row).T)
    return meter.account()
