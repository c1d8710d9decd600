"""Where, how loud and which way up a second version of a piece lies beside a first."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.audio.lag import find_lag
from stagefx.audio.passages import informative_passages
from stagefx.audio.phase_slope import delay_from_phase
from stagefx.audio.recording import ForwardWindow, Recording
from stagefx.audio.shift import REACH_FRAMES, read_later, whole_and_fraction
from stagefx.audio.spectra import PairMeter, PairSpectra
from stagefx.errors import ComparisonError

SEARCH_S = 4.0
SHORTEST_S = 0.1
LEAST_IN_COMMON = 0.5
"""Share of the second's power that has to follow the first for both to be the same music."""

_NEAR_S = 0.1
_SURELY_IN_COMMON = 0.99
"""Versions of which this much agrees within 0.1 s are not sought farther off."""
_SEGMENT_S = 0.17
_ROUNDS = 4
_CONVERGED_FRAMES = 1e-5
"""Each round leaves less than a thousandth of what it took off."""
_SETTLED_FRAMES = 1e-6
"""A delay this close to a whole number of frames is one: nothing is interpolated for it."""
_MOST_SHIFT = 8
"""Frames by which the phase may still correct the correlation."""

Passages = Sequence[tuple[int, int]]
Pair = tuple[NDArray[np.float64], NDArray[np.float64]]


@dataclass(frozen=True)
class Alignment:
    """Where, how loud and which way up a second version lies beside a first.

    Parameters
    ----------
    delay_frames : float, frames
        How late the second is at the first's frame 0.
    gain_db : float, dB
        Level of the second re the first: least squares over the aligned music, all channels.
    polarity : int, 1 or -1
        -1 where the second is turned over.
    drift_ppm : float or None, parts per million
        How much the second's clock runs fast; None where it was not measured.
    """

    delay_frames: float
    gain_db: float
    polarity: int
    drift_ppm: float | None = None

    @property
    def gain(self) -> float:
        """What the first is multiplied by to become the second, polarity included."""
        return float(self.polarity * 10.0 ** (self.gain_db / 20.0))

    def common_stretch(self, first_frames: int, second_frames: int) -> tuple[int, int]:
        """The frames of the first that the second has, too.

        Parameters
        ----------
        first_frames, second_frames : int, frames
            Lengths.

        Returns
        -------
        start, stop : int, frames
            On the first's scale; stop is at most start where there are none.
        """
        whole, fraction = whole_and_fraction(self.delay_frames)
        reach = REACH_FRAMES if fraction else 0
        return max(0, reach - whole), min(first_frames, second_frames - whole - reach)


def align(
    first: Recording,
    second: Recording,
    *,
    start: int = 0,
    stop: int | None = None,
    search_s: float = SEARCH_S,
) -> Alignment:
    """Find the delay, the gain and the polarity between two versions of a piece.

    Parameters
    ----------
    first, second : Recording
        Two versions of one rate and number of channels.
    start, stop : int, frames
        The stretch of the first to go by; all of it where left out.
    search_s : float, s
        How far apart they may begin.

    Returns
    -------
    Alignment
        Drift is not measured.

    Raises
    ------
    ComparisonError
        Their rates or channels differ.
    ComparisonError
        One of them is silent.
    ComparisonError
        They have less than 0.1 s in common.
    ComparisonError
        They are not the same music.

    Notes
    -----
    Goes by up to eight passages of 3 s.  Of a pure delay, 10 s of music with a floor 60 dB below
    it are right within 2e-5 frame.

    Examples
    --------
    >>> from stagefx.audio.recording import HeldAudio
    >>> noise = np.random.default_rng(1).standard_normal((48000, 1))
    >>> late = np.pad(noise[:-7], ((7, 0), (0, 0))) / -2.0
    >>> align(HeldAudio(noise, 48000), HeldAudio(late, 48000))
    Alignment(delay_frames=7.0, gain_db=-6.020599913279624, polarity=-1, drift_ppm=None)
    """
    _check_formats(first, second)
    stop = first.format.frames if stop is None else min(stop, first.format.frames)
    found = _try(first, second, start, stop, min(_NEAR_S, search_s))
    if found.in_common < _SURELY_IN_COMMON and search_s > _NEAR_S:
        found = max(found, _try(first, second, start, stop, search_s), key=lambda t: t.in_common)
    if found.in_common < LEAST_IN_COMMON:
        raise ComparisonError(
            f"{first.place} and {second.place} are not the same music: only "
            f"{100.0 * found.in_common:.0f} % of the second's power follows the first, however "
            f"it is moved within {search_s:g} s; give two versions of one piece that begin together"
        )
    return found.alignment


@dataclass(frozen=True)
class _Try:
    """An alignment, and the share of the second's power that follows the first by it."""

    alignment: Alignment
    in_common: float


def _try(first: Recording, second: Recording, start: int, stop: int, search_s: float) -> _Try:
    search = round(search_s * first.format.rate_hz)
    reachable = min(stop, second.format.frames + search)
    _check_length(first, second, reachable - start)
    passages = _lively(first, start, reachable)
    _lively(second, max(start - search, 0), min(stop + search, second.format.frames))
    lag = find_lag(first, second, passages, search_frames=search)

    coarse = Alignment(float(lag.frames), 0.0, lag.polarity)
    common = coarse.common_stretch(first.format.frames, second.format.frames)
    start, stop = max(start, common[0]), min(stop, common[1])
    _check_length(first, second, stop - start)
    # The ends are left out: a part of a frame is worked out from the frames around it.
    passages = _lively(first, start + REACH_FRAMES, stop - REACH_FRAMES)
    pairs = _Passages(first, second, passages, lag.frames)
    delay, spectra = _refined_delay(pairs, float(lag.frames), lag.polarity)
    gain = _gain(pairs, delay, lag.polarity)
    if gain <= 0.0:
        return _Try(coarse, 0.0)
    gain_db = 20.0 * math.log10(gain)
    return _Try(Alignment(delay, gain_db, lag.polarity), _in_common(spectra))


class _Passages:
    """Passages of the first and what the second plays there, held in memory."""

    def __init__(self, first: Recording, second: Recording, passages: Passages, lag: int) -> None:
        self.rate_hz, self.channels = first.format.rate_hz, first.format.channels
        self.shortest = min(stop - start for start, stop in passages)
        self._lag = lag
        margin = _MOST_SHIFT + REACH_FRAMES
        window = ForwardWindow(second)
        self._held = [
            (first.read(start, stop), window.stretch(start + lag - margin, stop + lag + margin))
            for start, stop in passages
        ]

    def aligned(self, delay_frames: float) -> list[Pair]:
        """Both pieces, passage by passage, the delay taken from the second."""
        whole, fraction = whole_and_fraction(delay_frames)
        begin = _MOST_SHIFT + whole - self._lag
        return [
            (x, read_later(y[begin : begin + len(x) + 2 * REACH_FRAMES], fraction))
            for x, y in self._held
        ]


def _refined_delay(pairs: _Passages, lag: float, polarity: int) -> tuple[float, PairSpectra]:
    """The delay to a small part of a frame: what the phase still shows is taken off, and again."""
    target = math.log2(min(_SEGMENT_S * pairs.rate_hz, pairs.shortest / 4))
    segment = 1 << round(target - 0.4)
    delay = lag
    for _ in range(_ROUNDS):
        meter = PairMeter(pairs.rate_hz, pairs.channels, segment)
        for x, y in pairs.aligned(delay):
            meter.restart()
            meter.add(x, polarity * y)
        spectra = meter.spectra()
        rest = delay_from_phase(spectra)
        delay = min(max(delay + rest, lag - _MOST_SHIFT), lag + _MOST_SHIFT)
        if abs(rest) < _CONVERGED_FRAMES:
            break
    settled = abs(delay - round(delay)) < _SETTLED_FRAMES
    return float(round(delay)) if settled else delay, spectra


def _gain(pairs: _Passages, delay: float, polarity: int) -> float:
    """Least-squares gain, worked out from the difference so that equal pieces give exactly 1."""
    across = power = 0.0
    for x, y in pairs.aligned(delay):
        across += float((x * (polarity * y - x)).sum())
        power += float(np.square(x).sum())
    return 1.0 + across / power


def _lively(recording: Recording, start: int, stop: int) -> Passages:
    found = informative_passages(recording, start, stop)
    if not found:
        rate_hz = recording.format.rate_hz
        raise ComparisonError(
            f"{recording.place} is silent from {start / rate_hz:.6g} s to {stop / rate_hz:.6g} s; "
            "give a passage in which something is played"
        )
    return found


def _check_formats(first: Recording, second: Recording) -> None:
    one, other = first.format, second.format
    if one.rate_hz != other.rate_hz:
        raise ComparisonError(
            f"{first.place} has {one.rate_hz} Hz and {second.place} {other.rate_hz} Hz; "
            "convert one of them to the other's sampling rate"
        )
    if one.channels != other.channels:
        raise ComparisonError(
            f"{first.place} has {_count(one.channels)} and {second.place} "
            f"{_count(other.channels)}; give two files with the same number"
        )


def _count(channels: int) -> str:
    return "1 channel" if channels == 1 else f"{channels} channels"


def _check_length(first: Recording, second: Recording, frames: int) -> None:
    if frames < SHORTEST_S * first.format.rate_hz:
        raise ComparisonError(
            f"{first.place} and {second.place} are too short: they have "
            f"{max(frames, 0) / first.format.rate_hz:.3g} s in common where {SHORTEST_S:g} s are "
            "needed; give longer files, or another passage"
        )


def _in_common(spectra: PairSpectra) -> float:
    """Share of the second's power that follows the first, less what chance gives."""
    chance = 1.0 / spectra.segments
    share = float(spectra.explained.sum() / spectra.second.sum())
    return max((share - chance) / (1.0 - chance), 0.0)
