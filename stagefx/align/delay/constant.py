"""One delay for a whole piece: lag, polarity and gain between two versions, from a few passages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stagefx.align.delay.lag import find_lag
from stagefx.align.delay.passages import informative_passages
from stagefx.align.delay.periodicity import Repeat, nearest_repeat
from stagefx.align.delay.phase_slope import delay_from_phase, direction, segment_frames
from stagefx.align.path_fit import Delays
from stagefx.align.resample import Matching
from stagefx.dsp.fractional_delay import REACH_FRAMES, read_later, whole_and_fraction
from stagefx.dsp.spectra import PairMeter, PairSpectra
from stagefx.errors import ComparisonError
from stagefx.io.recording import ForwardWindow, Recording

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
_CLEARLY_LIKELIER = 2.0
"""Channels are exchanged where that has so much better odds: less, and chance exchanges them."""
_LEAST_MORE = 1e-6
"""What channels that are alike but for -60 dB have in common either way is the same."""
_TURNS = 2
_SURE_VOTE = 0.3
"""Of the bands: less, and a channel is neither the right way up nor turned over."""
_TURNED_SHARE = 0.98
_HIGHEST_HZ = 18e3
"""A pilot tone or an encoder's limit above it says nothing of the music."""
_DEAD = 1e-10
"""Of the loudest channel's power."""
_TOLD_FROM_HZ, _TOLD_TO_HZ = 100.0, 12.5e3
_LEAST_BAND = 1e-7
"""Third octaves 70 dB under the strongest line hold what leaks, and dither."""


@dataclass(frozen=True)
class ConstantDelay:
    """How a second version lies beside a first, by one delay for all."""

    delay_frames: float
    uncertainty_frames: float
    gain: float
    in_common: float
    passages: tuple[tuple[int, int], ...]
    delays: Delays
    repeat: Repeat | None
    matching: Matching
    alike: float


def constant_delay(
    first: Recording, second: Recording, start: int, stop: int, search_s: float
) -> ConstantDelay:
    """Find the one delay that fits a piece best."""
    search = round(search_s * first.format.rate_hz)
    reachable = min(stop, second.format.frames + search)
    _check_length(first, second, reachable - start)
    passages = _lively(first, start, reachable)
    _lively(second, 0, second.format.frames)
    lag = find_lag(first, second, passages, search_frames=search)

    start, stop = max(start, -lag.frames), min(stop, second.format.frames - lag.frames)
    _check_length(first, second, stop - start)
    # The ends are left out: a part of a frame is worked out from the frames around it.
    passages = _lively(first, start + REACH_FRAMES, stop - REACH_FRAMES)
    held = _Passages(first, second, passages, lag.frames)
    matching = Matching(lag.crossed, lag.signs)
    fit = _right_way_up(held, _fitted(held, float(lag.frames), matching), float(lag.frames))
    if _exchanged(held, fit):
        other = Matching(not matching.crossed, matching.signs[::-1])
        fit = _right_way_up(held, _fitted(held, float(lag.frames), other), float(lag.frames))
    whole = delay_from_phase(fit.spectra)
    response = direction(fit.spectra, whole.frames)
    own = [delay_from_phase(part, response) for part in fit.parts]
    return ConstantDelay(
        delay_frames=fit.delay_frames,
        uncertainty_frames=whole.uncertainty_frames,
        gain=_gain(held.aligned(fit.delay_frames, fit.matching), fit.spectra),
        in_common=in_common(fit.spectra),
        alike=alike(fit.spectra),
        passages=tuple(passages),
        delays=Delays(
            np.array([(begin + end) / 2.0 for begin, end in passages]),
            np.array([fit.delay_frames + each.frames for each in own]),
            np.array([each.uncertainty_frames for each in own]),
        ),
        repeat=nearest_repeat(fit.spectra),
        matching=fit.matching,
    )


def in_common(spectra: PairSpectra) -> float:
    """Share of the second's power from 20 Hz on that follows the first, less what chance gives."""
    audible = (spectra.hz >= _LOWEST_HZ) & (spectra.hz <= _HIGHEST_HZ)
    first, second, explained = (
        each[:, audible].sum(axis=1) for each in (spectra.first, spectra.second, spectra.explained)
    )
    sounds = first > _DEAD * first.max()  # of a dead channel nothing can follow
    power = float(second[sounds].sum())
    return _beyond_chance(float(explained[sounds].sum()) / power if power > 0.0 else 0.0, spectra)


def _beyond_chance(share: float, spectra: PairSpectra) -> float:
    chance = 1.0 / max(spectra.segments, 2)
    return max((share - chance) / (1.0 - chance), 0.0)


def third_octave_lines(spectra: PairSpectra) -> list[NDArray[np.intp]]:
    """The lines of each third octave in which music is told from other music."""
    hz, lines = spectra.hz, []
    low = _TOLD_FROM_HZ
    while low < min(_TOLD_TO_HZ, 0.45 * spectra.rate_hz):
        inside = np.flatnonzero((hz >= low) & (hz < low * 2.0 ** (1.0 / 3.0)))
        if len(inside):
            lines.append(inside)
        low *= 2.0 ** (1.0 / 3.0)
    return lines


def alike(spectra: PairSpectra) -> float:
    """The mean share in common of all third octaves that sound in both, whatever their power."""
    shares = []
    quiet = _LEAST_BAND * spectra.first.max(), _LEAST_BAND * spectra.second.max()
    for inside in third_octave_lines(spectra):
        first, second, explained = (
            each[:, inside].sum(axis=1)
            for each in (spectra.first, spectra.second, spectra.explained)
        )
        sounds = (first > quiet[0] * len(inside)) & (second > quiet[1] * len(inside))
        shares += (explained[sounds] / second[sounds]).tolist()
    if not shares:
        return in_common(spectra)
    return float(np.mean([_beyond_chance(share, spectra) for share in shares]))


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

    def aligned(self, delay_frames: float, matching: Matching) -> list[Pair]:
        """Both pieces, passage by passage, the delay taken from the second."""
        whole, fraction = whole_and_fraction(delay_frames)
        begin = _MOST_SHIFT + whole - self._lag
        pairs = []
        for x, y in self._held:
            moved = read_later(y[begin : begin + len(x) + 2 * REACH_FRAMES], fraction)
            pairs.append((x, matching.put(moved)))
        return pairs

    def spectra(self, delay_frames: float, matching: Matching) -> list[PairSpectra]:
        """Of each passage, the delay taken from the second."""
        segment = segment_frames(self.shortest, rate_hz=self.rate_hz)
        parts = []
        for pair in self.aligned(delay_frames, matching):
            meter = PairMeter(self.rate_hz, self.channels, segment)
            meter.add(*pair)
            parts.append(meter.spectra())
        return parts


@dataclass(frozen=True)
class _Fit:
    """A delay to a small part of a frame, and the passages' spectra by it."""

    delay_frames: float
    matching: Matching
    parts: list[PairSpectra]
    spectra: PairSpectra


def _fitted(pairs: _Passages, lag: float, matching: Matching) -> _Fit:
    """What the phase still shows is taken off the delay, and again."""
    delay = lag
    for _ in range(_ROUNDS):
        parts = pairs.spectra(delay, matching)
        spectra = _sum(parts)
        rest = delay_from_phase(spectra).frames
        delay = min(max(delay + rest, lag - _MOST_SHIFT), lag + _MOST_SHIFT)
        if abs(rest) < _CONVERGED_FRAMES:
            break
    settled = abs(delay - round(delay)) < _SETTLED_FRAMES
    return _Fit(float(round(delay)) if settled else delay, matching, parts, spectra)


def _sum(parts: list[PairSpectra]) -> PairSpectra:
    one = parts[0]
    meter = PairMeter(one.rate_hz, len(one.first), one.segment_frames)
    for part in parts:
        meter.add_spectra(part)
    return meter.spectra()


def _gain(pairs: list[Pair], spectra: PairSpectra) -> float:
    """Least squares, worked out from the difference so that equal pieces give exactly 1.

    Where phases were turned that says too little: then line by line, whatever the phase.
    """
    across = power = 0.0
    for x, y in pairs:
        across += float((x * (y - x)).sum())
        power += float(np.square(x).sum())
    plain, whatever = 1.0 + across / power, gain_whatever_phase(spectra)
    return plain if plain > _TURNED_SHARE * whatever else whatever


def gain_whatever_phase(spectra: PairSpectra) -> float:
    """``Σ |X* Y| / Σ |X|²`` over the lines that are heard."""
    heard = (spectra.hz >= _LOWEST_HZ) & (spectra.hz <= _HIGHEST_HZ)
    power = float(spectra.first[:, heard].sum())
    return float(np.abs(spectra.cross[:, heard]).sum()) / power if power > 0.0 else 0.0


def _right_way_up(pairs: _Passages, fit: _Fit, lag: float) -> _Fit:
    """The fit with each channel the way up that most bands say; in doubt like the others."""
    for _ in range(_TURNS):
        votes = _votes(fit.spectra)
        own = np.array(fit.matching.signs)
        sure = np.abs(votes) >= _SURE_VOTE
        most = float((own * votes)[sure].sum()) if sure.any() else float((own * votes).sum())
        signs = np.where(np.where(sure, own * votes, most) >= 0.0, 1, -1)
        if (signs == own).all():
            break
        fit = _fitted(pairs, lag, replace(fit.matching, signs=tuple(signs.tolist())))
    return fit


def _votes(spectra: PairSpectra) -> Array:
    """How far each channel is the right way up, -1 to 1: the mean over third octaves.

    Of a channel that is silent in either version nothing is said: it counts as right.
    """
    votes = []
    for cross, x, y in zip(spectra.cross, spectra.first, spectra.second, strict=True):
        scale = np.sqrt(x * y)
        share = np.divide(cross.real, scale, out=np.zeros_like(x), where=scale > 0.0)
        bands = [float(share[lines].mean()) for lines in third_octave_lines(spectra)]
        votes.append(float(np.mean(bands)) if bands and scale.any() else 1.0)
    return np.array(votes)


def _exchanged(pairs: _Passages, fit: _Fit) -> bool:
    """Whether the channels have clearly more in common the other way round."""
    if pairs.channels != 2:
        return False
    other = Matching(not fit.matching.crossed, (1, 1))
    across = in_common(_sum(pairs.spectra(fit.delay_frames, other)))
    straight = in_common(fit.spectra)
    likelier = across * (1.0 - straight) > _CLEARLY_LIKELIER * straight * (1.0 - across)
    return likelier and across - straight > _LEAST_MORE


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
