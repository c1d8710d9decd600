"""The ten seconds in which a difference is most likely to be heard, as whole as music allows."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from stagefx.align.alignment import Alignment, align
from stagefx.difference.pairs import side_by_side
from stagefx.errors import ComparisonError
from stagefx.hearing.ear.account import Course
from stagefx.hearing.ear.detection import EarPair
from stagefx.hearing.ear.scale import HOP, RATE_HZ
from stagefx.hearing.level_at_ear import USUAL_LISTENING_DB, LevelAtEar, level_of
from stagefx.hearing.segmentation import Phrasing, phrasing
from stagefx.io.recording import Recording

Array = NDArray[np.float64]

USUAL_PASSAGE_S = 10.0
SHORTEST_PASSAGE_S = 0.5

_AS_LIKELY = 0.9
"""A passage with this share of the highest probability is as good."""
_AS_EVIDENT = 0.8
"""And so is one with this share of the most evidence, 1 dB less."""
_LEAD_S = 1.0
"""What counts has this much music before and after it in the passage."""
_MOST_LOOKED_AT_S = 120.0
_ENDING = 0.5
"""An ending counts half as much as a beginning."""
_SILENT_DB = 35.0
"""So much below the loudest quarter of a second is silence, as far as a beginning goes."""
_SILENT_DBFS = -80.0
_PRE_ROLL_S = 0.005
"""A beginning is known within 12 ms."""


@dataclass(frozen=True)
class Passage:
    """A stretch of music that was chosen."""

    start_s: float
    stop_s: float
    why: str

    @property
    def ends(self) -> tuple[float, float]:
        """From where to where, in s."""
        return self.start_s, self.stop_s

    @property
    def seconds(self) -> float:
        """How long it is."""
        return self.stop_s - self.start_s

    def as_json(self) -> dict[str, Any]:
        """The passage as plain values."""
        return {"start_s": self.start_s, "stop_s": self.stop_s, "why": self.why}


def choose_passage(
    first: Recording,
    second: Recording,
    *,
    seconds: float = USUAL_PASSAGE_S,
    listening_level_db: float = USUAL_LISTENING_DB,
    level_matched: bool = True,
    alignment: Alignment | None = None,
    ear: LevelAtEar | None = None,
) -> Passage:
    """Find the stretch in which the difference of two versions is most likely to be heard.

    The ear model goes through the whole piece.  Of all passages whose highest probability of
    detection is within a tenth of the best, and whose summed evidence (squared differences in
    just-noticeable steps) is within 1 dB of the most, that one is taken that begins, and ends,
    most like music does: on a strong onset, where the colour changes.  What decides has a second
    of music on either side of it, where the piece has.  Where nothing differs, the loudest
    passages are as good as each other.
    """
    if not seconds >= SHORTEST_PASSAGE_S:
        raise ComparisonError(
            f"a passage of {seconds:g} s is too short to judge; ask for {SHORTEST_PASSAGE_S:g} s "
            "or more"
        )
    ear = ear or level_of(first, listening_level_db=listening_level_db)
    alignment = align(first, second) if alignment is None else alignment
    factor = 1.0 / abs(alignment.gain) if level_matched else 1.0
    begin_s, end_s, course, levels = _heard(first, second, alignment, factor, ear.full_scale_spl_db)
    if not levels.any():
        raise ComparisonError(f"{first.place} is silent; there is nothing to listen to")
    if end_s - begin_s <= seconds:
        return Passage(begin_s, end_s, "It is all that both versions have.")
    wanted = _Wanted(begin_s, end_s, seconds, course.step_s)
    worth, differs = _worth(course, levels, wanted)
    start_s = _most_musical(first, wanted, worth, float(levels.max()))
    return Passage(start_s, start_s + seconds, _reason(course, wanted, start_s, differs=differs))


@dataclass(frozen=True)
class _Wanted:
    """What is sought, and where; steps are those of the course."""

    begin_s: float
    end_s: float
    seconds: float
    step_s: float

    @property
    def last_s(self) -> float:
        """The latest beginning."""
        return self.end_s - self.seconds

    def steps(self, start_s: float) -> slice:
        """The steps of the course that lie inside a passage."""
        first = round((start_s - self.begin_s) / self.step_s)
        return slice(first, first + max(int(self.seconds / self.step_s), 1))


def _heard(
    first: Recording,
    second: Recording,
    alignment: Alignment,
    factor: float,
    full_scale_spl_db: float,
) -> tuple[float, float, Course, Array]:
    """Ends of what both have, the ear's course over it, and the first's power in every step."""
    rate_hz, channels = first.format.rate_hz, first.format.channels
    pair = EarPair(rate_hz, channels, full_scale_spl_db)
    begin, end = alignment.common_stretch(first.format.frames, second.format.frames)
    meter = _PowerMeter(rate_hz)
    for block in side_by_side(first, second, alignment):
        pair.add(block.first, factor * block.second)
        meter.add(block.first)
    course = pair.account().course
    return (
        begin / rate_hz,
        end / rate_hz,
        course,
        meter.powers(course.step_s, course.probability.size),
    )


class _PowerMeter:
    """Mean square, all channels, of every 16 ms."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._size = max(rate_hz // 62, 1)
        self._sums: list[Array] = []
        self._rest = np.zeros(0)

    def add(self, block: Array) -> None:
        squares = np.concatenate([self._rest, np.square(block).mean(axis=1)])
        whole = squares.size // self._size * self._size
        self._sums.append(squares[:whole].reshape(-1, self._size).mean(axis=1))
        self._rest = squares[whole:]

    def powers(self, step_s: float, steps: int) -> Array:
        """The mean over each of so many steps; of the last, what there is."""
        fine = np.concatenate([*self._sums, [self._rest.mean()] if self._rest.size else []])
        edges = np.round(np.arange(steps + 1) * (step_s * self._rate_hz / self._size)).astype(int)
        sums = np.concatenate([[0.0], np.cumsum(fine)])[np.minimum(edges, fine.size)]
        return np.asarray(np.diff(sums) / np.maximum(np.diff(np.minimum(edges, fine.size)), 1))


def _worth(course: Course, levels: Array, wanted: _Wanted) -> tuple[Array, bool]:
    """How well each step would do as a beginning, 0 where another does clearly better."""
    size = max(int(wanted.seconds / course.step_s), 1)
    lead = min(round(_LEAD_S / course.step_s), (size - 1) // 2)
    differs = bool(course.evidence.any())
    evidence = course.evidence if differs else levels
    likely = _over(course.probability, np.max, size, lead)
    amount = _over(evidence, np.sum, size, lead)
    amount = np.where(likely >= _AS_LIKELY * likely.max(), amount, 0.0)
    return np.where(amount >= _AS_EVIDENT * amount.max(), amount, 0.0), differs


def _over(values: Array, how: Callable[..., Any], size: int, lead: int) -> Array:
    """A maximum or sum over every passage, less its lead at either end where the music goes on."""
    folded = np.pad(values, (0, max(size - values.size, 0)))
    last = folded.size - lead
    folded[lead] = how(folded[: lead + 1])
    folded[last - 1] = how(folded[last - 1 :])
    windows = sliding_window_view(folded[lead:last], size - 2 * lead)
    return np.asarray(how(windows, axis=1))


def _most_musical(first: Recording, wanted: _Wanted, worth: Array, loudest: float) -> float:
    """Of the steps that are worth it, the moment at which most begins, and so much later ends."""
    best_s, best = wanted.begin_s + float(worth.argmax()) * wanted.step_s, -1.0
    best_s = min(best_s, wanted.last_s)
    silent = max(loudest * 10.0 ** (-_SILENT_DB / 10.0), 10.0 ** (_SILENT_DBFS / 10.0) / 2.0)
    found_sound = False
    for start_s, stop_s in _stretches(worth, wanted):
        here = phrasing(first, start_s, stop_s)
        if not here.times_s.size:
            continue
        there = phrasing(first, start_s + wanted.seconds, stop_s + wanted.seconds)
        score = _begins(here) + _ENDING * _begins(there)[: here.times_s.size]
        allowed = (here.following > silent) & (here.times_s <= wanted.last_s)
        score = np.where(allowed, score, -1.0)
        moment = int(score.argmax())
        if score[moment] > best:
            best, found_sound = float(score[moment]), True
            best_s = float(here.times_s[moment]) - _PRE_ROLL_S
    if not found_sound:  # all that is worth it begins in silence: go back to where there is sound
        best_s = _with_sound(first, wanted, best_s, silent)
    # On the ear's own frames, so that the passage alone is heard as it is in the whole piece.
    frames = math.floor((min(best_s, wanted.last_s) - wanted.begin_s) * RATE_HZ / HOP)
    return wanted.begin_s + max(frames, 0) * HOP / RATE_HZ


def _begins(here: Phrasing) -> Array:
    """How much begins: onset and change of colour, each at most 1."""
    onset = here.onset / max(float(here.onset.max(initial=0.0)), 1e-9)
    novelty = here.novelty / max(float(here.novelty.max(initial=0.0)), 1e-9)
    return np.asarray(onset * (1.0 + novelty))


def _with_sound(first: Recording, wanted: _Wanted, near_s: float, silent: float) -> float:
    """The nearest beginning, first earlier and then later, that is not silent."""
    around = phrasing(first, wanted.begin_s, min(wanted.last_s, near_s + wanted.seconds))
    sounding = around.times_s[around.following > silent]
    if not sounding.size:
        return near_s
    return float(sounding[np.abs(sounding - near_s).argmin()])


def _stretches(worth: Array, wanted: _Wanted) -> Iterator[tuple[float, float]]:
    """Runs of steps that are worth it, the worthiest first, until enough has been looked at."""
    steps = np.flatnonzero(worth > 0.0)
    runs = np.split(steps, np.flatnonzero(np.diff(steps) > 1) + 1)
    runs.sort(key=lambda run: -float(worth[run].max()))
    left_s = _MOST_LOOKED_AT_S
    for run in runs:
        start_s = wanted.begin_s + float(run[0]) * wanted.step_s
        stop_s = wanted.begin_s + float(run[-1] + 1) * wanted.step_s
        stop_s = min(stop_s, start_s + left_s, wanted.last_s)
        if stop_s > start_s:
            yield start_s, stop_s
            left_s -= stop_s - start_s
        if left_s <= 0.0:
            return


def _reason(course: Course, wanted: _Wanted, start_s: float, *, differs: bool) -> str:
    if not differs:
        return "Nothing differs; this is among the loudest passages."
    inside = course.probability[wanted.steps(start_s)]
    peak_s = start_s + float(inside.argmax()) * course.step_s
    return (
        f"The difference comes nearest to being heard here, most of all about {peak_s:.1f} s; "
        f"the passage begins where the music does."
    )
