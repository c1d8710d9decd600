"""One delay for a whole piece: lag, polarity and gain between two versions, from a few passages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagefx.audio.drift import segment_frames
from stagefx.audio.lag import find_lag
from stagefx.audio.passages import informative_passages
from stagefx.audio.path_fit import Delays
from stagefx.audio.phase_slope import delay_from_phase, direction
from stagefx.audio.recording import ForwardWindow, Recording
from stagefx.audio.repeats import Repeat, nearest_repeat
from stagefx.audio.shift import REACH_FRAMES, read_later, whole_and_fraction
from stagefx.audio.spectra import PairMeter, PairSpectra
from stagefx.errors import ComparisonError

Array = NDArray[np.float64]
Passages = Sequence[tuple[int, int]]
Pair = tuple[Array, Array]

SHORTEST_S = 0.1

_LOWEST_HZ = 20.0
"""What lies below is no music: a coupling capacitor turns it round, and some recordings are full
of it."""
_ROUNDS = 4
_CONVERGED_FRAMES = 1e-5
"""Each round leaves less than a thousandth of what it took off."""
_SETTLED_FRAMES = 1e-6
"""A delay this close to a whole number of frames is one: nothing is interpolated for it."""
_MOST_SHIFT = 8
"""Frames by which the phase may still correct the correlation."""
_CLEARLY_LESS = 0.5
"""Channels are exchanged where that leaves less than this share of what is left otherwise."""


@dataclass(frozen=True)
class ConstantDelay:
    """How a second version lies beside a first, by one delay for all.

    Parameters
    ----------
    delay_frames : float, frames
        How late the second is.
    uncertainty_frames : float, frames
        Its standard deviation.
    gain : float
        Least squares from first to second, polarity left out; 0 or less where nothing fits.
    polarity : int, 1 or -1
        -1 where the second is turned over.
    in_common : float, 0 to 1
        Share of the second's power that follows the first.
    passages : tuple of tuple of two int, frames
        What it was found from, on the first's scale.
    delays : Delays
        What each passage says by itself.
    repeat : Repeat or None
        Where else the second would fit as well.
    exchanged : bool
        Whether the channels fit better the other way round.
    """

    delay_frames: float
    uncertainty_frames: float
    gain: float
    polarity: int
    in_common: float
    passages: tuple[tuple[int, int], ...]
    delays: Delays
    repeat: Repeat | None
    exchanged: bool


def constant_delay(
    first: Recording, second: Recording, start: int, stop: int, search_s: float
) -> ConstantDelay:
    """Find the one delay that fits a piece best.

    Parameters
    ----------
    first, second : Recording
        Two versions of one rate and number of channels.
    start, stop : int, frames
        The stretch of the first.
    search_s : float, s
        How far apart they may begin.

    Returns
    -------
    ConstantDelay
        The best there is, whether or not they are the same music.

    Raises
    ------
    ComparisonError
        One of them is silent.
    ComparisonError
        They have less than 0.1 s in common.

    Examples
    --------
    >>> from stagefx.audio.recording import HeldAudio
    >>> noise = np.random.default_rng(1).standard_normal((48000, 1))
    >>> late = np.pad(-noise[:-7], ((7, 0), (0, 0)))
    >>> found = constant_delay(HeldAudio(noise, 48000), HeldAudio(late, 48000), 0, 48000, 0.1)
    >>> found.delay_frames, found.polarity, round(found.in_common, 6)
    (7.0, -1, 1.0)
    """
    search = round(search_s * first.format.rate_hz)
    reachable = min(stop, second.format.frames + search)
    _check_length(first, second, reachable - start)
    passages = _lively(first, start, reachable)
    _lively(second, max(start - search, 0), min(stop + search, second.format.frames))
    lag = find_lag(first, second, passages, search_frames=search)

    start, stop = max(start, -lag.frames), min(stop, second.format.frames - lag.frames)
    _check_length(first, second, stop - start)
    # The ends are left out: a part of a frame is worked out from the frames around it.
    passages = _lively(first, start + REACH_FRAMES, stop - REACH_FRAMES)
    pairs = _Passages(first, second, passages, lag.frames)
    delay, parts = _refined_delay(pairs, float(lag.frames), lag.polarity)
    spectra = _sum(parts)
    whole = delay_from_phase(spectra)
    response = direction(spectra, whole.frames)
    own = [delay_from_phase(part, response) for part in parts]
    aligned = pairs.aligned(delay)
    gain = _gain(aligned, lag.polarity)
    return ConstantDelay(
        delay_frames=delay if gain > 0.0 else float(lag.frames),
        uncertainty_frames=whole.uncertainty_frames,
        gain=gain,
        polarity=lag.polarity,
        in_common=in_common(spectra) if gain > 0.0 else 0.0,
        passages=tuple(passages),
        delays=Delays(
            np.array([(begin + end) / 2.0 for begin, end in passages]),
            np.array([delay + each.frames for each in own]),
            np.array([each.uncertainty_frames for each in own]),
        ),
        repeat=nearest_repeat(spectra),
        exchanged=_exchanged(aligned),
    )


def in_common(spectra: PairSpectra) -> float:
    """Share of the second's power from 20 Hz on that follows the first, less what chance gives.

    Parameters
    ----------
    spectra : PairSpectra
        Two pieces aligned.

    Returns
    -------
    float, 0 to 1
        1 where the second is the first through some filter.

    Examples
    --------
    >>> meter = PairMeter(48000, 1, 1024)
    >>> one, other = np.random.default_rng(1).standard_normal((2, 48000, 1))
    >>> meter.add(one, one + other)
    >>> round(in_common(meter.spectra()), 1)
    0.5
    """
    audible = spectra.hz >= _LOWEST_HZ
    explained, second = spectra.explained[:, audible].sum(), spectra.second[:, audible].sum()
    chance = 1.0 / spectra.segments
    share = float(explained / second) if second > 0.0 else 0.0
    return max((share - chance) / (1.0 - chance), 0.0)


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


def _refined_delay(pairs: _Passages, lag: float, polarity: int) -> tuple[float, list[PairSpectra]]:
    """The delay to a small part of a frame: what the phase still shows is taken off, and again."""
    segment = segment_frames(pairs.shortest, rate_hz=pairs.rate_hz)
    delay = lag
    for _ in range(_ROUNDS):
        parts = []
        for x, y in pairs.aligned(delay):
            meter = PairMeter(pairs.rate_hz, pairs.channels, segment)
            meter.add(x, polarity * y)
            parts.append(meter.spectra())
        rest = delay_from_phase(_sum(parts)).frames
        delay = min(max(delay + rest, lag - _MOST_SHIFT), lag + _MOST_SHIFT)
        if abs(rest) < _CONVERGED_FRAMES:
            break
    settled = abs(delay - round(delay)) < _SETTLED_FRAMES
    return float(round(delay)) if settled else delay, parts


def _sum(parts: list[PairSpectra]) -> PairSpectra:
    one = parts[0]
    meter = PairMeter(one.rate_hz, len(one.first), one.segment_frames)
    for part in parts:
        meter.add_spectra(part)
    return meter.spectra()


def _gain(pairs: list[Pair], polarity: int) -> float:
    """Least-squares gain, worked out from the difference so that equal pieces give exactly 1."""
    across = power = 0.0
    for x, y in pairs:
        across += float((x * (polarity * y - x)).sum())
        power += float(np.square(x).sum())
    return 1.0 + across / power


def _exchanged(pairs: list[Pair]) -> bool:
    """Whether left fits right and right left clearly better than each its own."""
    if pairs[0][0].shape[1] != 2:
        return False
    products = np.zeros((3, 2, 2))
    for x, y in pairs:
        moves, moved = np.diff(x, axis=0), np.diff(y, axis=0)
        several = (moves, moves), (moves, moved), (moved, moved)
        products += [np.einsum("ni,nj->ij", *pair) for pair in several]
    of_x, across, of_y = products
    if not of_x.diagonal().all():
        return False
    explained = np.square(across) / of_x.diagonal()[:, None]
    left = of_y.diagonal() - explained
    straight, crossed = left[0, 0] + left[1, 1], left[1, 0] + left[0, 1]
    return bool(crossed < _CLEARLY_LESS * straight)


def _lively(recording: Recording, start: int, stop: int) -> Passages:
    found = informative_passages(recording, start, stop)
    if not found:
        rate_hz = recording.format.rate_hz
        raise ComparisonError(
            f"{recording.place} is silent from {start / rate_hz:.6g} s to {stop / rate_hz:.6g} s; "
            "give a passage in which something is played"
        )
    return found


def _check_length(first: Recording, second: Recording, frames: int) -> None:
    if frames < SHORTEST_S * first.format.rate_hz:
        raise ComparisonError(
            f"{first.place} and {second.place} are too short: they have "
            f"{max(frames, 0) / first.format.rate_hz:.3g} s in common where {SHORTEST_S:g} s are "
            "needed; give longer files, or another passage"
        )
