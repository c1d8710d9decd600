"""Whether a difference survives what a video site or a player does to the sound.

Both versions are coded as an audience receives them and decoded again.  What the coding does by
itself is subtracted: two equal versions, coded with the music shifted by part of a coder's frame,
are the baseline that the coded pair has to exceed.
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.align.alignment import Alignment, align
from stagefx.audition.coding import CODINGS, Coding, at_rate_of, code
from stagefx.difference.pairs import side_by_side
from stagefx.hearing.ear.detection import EarPair
from stagefx.hearing.level_at_ear import USUAL_LISTENING_DB, LevelAtEar, level_of
from stagefx.hearing.passage import USUAL_PASSAGE_S, choose_passage
from stagefx.hearing.thresholds import limits
from stagefx.hearing.wording import decibels, factor
from stagefx.io.files import open_audio
from stagefx.io.recording import HeldAudio, Recording
from stagefx.io.tables import html_table

Array = NDArray[np.float64]

ROUNDING_DB = -250.0
"""A residual below this is what double precision rounds off, not a difference."""
SHIFTS = (0.25, 0.5)
"""Of a coder's frame, by which the same version is shifted to see what coding alone changes."""
CLEARLY = 1.25
"""Detectability after coding over the baseline's: less is how two shifts differ; more would deny
what is noticed beside coarse coding."""
_SIDE_BY_SIDE = 2
LOUDER_DB = 3.0
"""Residual after coding over the baseline's, where the ear model is sure of both: the pair's own
part is then as large as the coding's; less would be the coding's scatter."""
_SURE, _SUREST = 1.0 - 1e-9, 1.0 - 1e-15
"""From the first on the ear model no longer tells more from less; nearer to 1 a double does not."""


@dataclass(frozen=True)
class Apart:
    """How far two versions of the same music are apart.

    The residual is their difference after delay and gain re the music, minus infinity for none; the
    probability of detection is the ear model's, None where the music is too short to tell.
    """

    residual_db: float
    detection_probability: float | None

    @property
    def detectability(self) -> float:
        """The d' of two intervals that gives this probability: p = 2 Phi(d' / sqrt 2) - 1."""
        p = min(self.detection_probability or 0.0, _SUREST)
        return math.sqrt(2.0) * NormalDist().inv_cdf(0.5 * (1.0 + p))

    def as_json(self) -> dict[str, Any]:
        """``residual_db`` and ``detection_probability`` as plain values."""
        nothing = {"value": None, "reason": "nothing is left"}
        short = {"value": None, "reason": "too short"}
        p = self.detection_probability
        return {
            "residual_db": self.residual_db if math.isfinite(self.residual_db) else nothing,
            "detection_probability": short if p is None else p,
        }


@dataclass(frozen=True)
class Delivered:
    """A pair through one way of coding, at the bit rate that was measured.

    `by_coding` is the first version before and after coding; `baseline` the first version coded
    twice, once shifted, the worst of the shifts; `after_coding` the two versions, both coded.
    """

    coding: Coding
    kbit_per_s: float
    by_coding: Apart
    baseline: Apart
    after_coding: Apart

    @property
    def probability_beyond_coding(self) -> float:
        """How likely the two are told apart by more than the coding does: d' less the baseline's.

        The coder's own changes are taken as independent of the pair's, so squares are subtracted.
        """
        after, alone = self.after_coding.detectability, self.baseline.detectability
        beyond = math.sqrt(max(after**2 - alone**2, 0.0))
        return 2.0 * NormalDist().cdf(beyond / math.sqrt(2.0)) - 1.0

    @property
    def noticed(self) -> bool:
        """Whether the two, coded, are told apart by clearly more than the coding's own doing.

        By the ear model; where it is sure of the coding alone, by the residual.
        """
        after, alone = self.after_coding, self.baseline
        if (alone.detection_probability or 0.0) >= _SURE:
            return after.residual_db >= alone.residual_db + LOUDER_DB
        enough = self.probability_beyond_coding >= limits()["ear model"].will
        return enough and after.detectability >= CLEARLY * alone.detectability

    def as_json(self) -> dict[str, Any]:
        """The pair as plain values, keys as the attributes."""
        return {
            "coding": self.coding.name,
            "kbit_per_s": self.kbit_per_s,
            "by_coding": self.by_coding.as_json(),
            "baseline": self.baseline.as_json(),
            "after_coding": self.after_coding.as_json(),
            "probability_beyond_coding": self.probability_beyond_coding,
            "noticed": self.noticed,
        }


@dataclass(frozen=True)
class Delivery:
    """Whether a difference survives lossy coding.

    Parameters
    ----------
    pair : Apart
        The two versions as they are.
    delivered : tuple of Delivered
        The same through each way of coding.
    passage_s : tuple of two float, s
        What was listened to.
    """

    pair: Apart
    delivered: tuple[Delivered, ...]
    passage_s: tuple[float, float]

    @property
    def least_ratio(self) -> float | None:
        """How many times more the best coding changes; None where the two are the same."""
        if self.pair.residual_db < ROUNDING_DB:
            return None
        least = min(one.by_coding.residual_db for one in self.delivered)
        return float(10.0 ** ((least - self.pair.residual_db) / 20.0))

    @property
    def noticed_after(self) -> tuple[Delivered, ...]:
        """The codings after which the two are told apart for sure, and not by the coding alone."""
        if (self.pair.detection_probability or 0.0) < limits()["ear model"].may:
            return ()
        return tuple(one for one in self.delivered if one.noticed)

    @property
    def sentence(self) -> str:
        """What that means for whoever shows the difference."""
        ratio, pair = self.least_ratio, self.pair.detection_probability or 0.0
        if ratio is None:
            return "The two versions are the same, so there is nothing that could get lost."
        if ratio >= 1.0:
            size = (
                "What an audience is sent changes the sound more than the difference itself does: "
                f"{_times(ratio)} as much at the best of these codings."
            )
        else:
            size = f"The difference is {_times(1.0 / ratio)} what the best coding changes."
        if pair < limits()["ear model"].may:
            return f"{size} Nobody can judge it by what a video carries; offer lossless files."
        after = len(self.noticed_after)
        if after == len(self.delivered):
            return f"{size} It is still likely to be noticed after each of them: it survives."
        which = f"after {after} of {len(self.delivered)} of them" if after else "after any of them"
        likely = "likely" if after else "not likely"
        return (
            f"{size} Beyond what the coding itself does it is {likely} to be noticed {which}; "
            "offer lossless files."
        )

    def _repr_html_(self) -> str:
        """The delivery, as a notebook shows it."""
        return _as_html(self)

    def as_json(self) -> dict[str, Any]:
        """The delivery as plain values.

        Returns
        -------
        dict
            The keys of ``stagefx delivery --json``.
        """
        ratio = self.least_ratio
        return {
            "pair": self.pair.as_json(),
            "codings": [one.as_json() for one in self.delivered],
            "times_larger": {"value": None, "reason": "no difference"} if ratio is None else ratio,
            "passage_s": list(self.passage_s),
            "sentence": self.sentence,
        }


def deliver(
    first: Recording,
    second: Recording,
    *,
    codings: Sequence[Coding] = CODINGS,
    listening_level_db: float = USUAL_LISTENING_DB,
    passage: tuple[float, float] | None = None,
    alignment: Alignment | None = None,
    ear: LevelAtEar | None = None,
) -> Delivery:
    """Pass a pair through lossy coding; a passage is chosen where none is given.

    The second is brought to the first's time and gain before either is coded, so that the coding
    and not the level is judged.
    """
    import soundfile as _before_the_threads  # noqa: F401

    ear = ear or level_of(first, listening_level_db=listening_level_db)
    alignment = alignment or align(first, second)
    if passage is None:
        chosen = choose_passage(
            first, second, seconds=USUAL_PASSAGE_S, listening_level_db=listening_level_db,
            alignment=alignment, ear=ear,
        )  # fmt: skip
        passage = (chosen.start_s, chosen.stop_s)
    rate_hz = first.format.rate_hz
    start, stop = (round(edge * rate_hz) for edge in passage)
    pairs = list(side_by_side(first, second, alignment, start=start, stop=stop))
    one = HeldAudio(np.concatenate([pair.first for pair in pairs]), rate_hz)
    other = np.concatenate([pair.second for pair in pairs]) / alignment.gain
    two = HeldAudio(other, rate_hz, place="the second, aligned")
    spl_db = ear.full_scale_spl_db

    def through(coding: Coding) -> Delivered:
        return _through(one, two, coding, spl_db)

    with ThreadPoolExecutor(_SIDE_BY_SIDE, thread_name_prefix="coding") as pool:
        delivered = tuple(pool.map(through, codings))
    return Delivery(_apart(one.samples, two.samples, rate_hz, spl_db), delivered, passage)


def _times(ratio: float) -> str:
    times = factor(ratio)
    return times if times.startswith("more") else f"about {times}"


def _through(one: HeldAudio, two: HeldAudio, coding: Coding, spl_db: float) -> Delivered:
    """Both versions, and the first once more at each shift, through one way of coding."""
    rate_hz = coding.rate_hz(one.format.rate_hz)
    before, other = (at_rate_of(version, coding) for version in (one, two))
    shifts = [round(share * coding.frame) for share in SHIFTS]
    with tempfile.TemporaryDirectory(prefix="stagefx-") as folder:
        rates, coded = [], []
        for number, samples in enumerate((before, other, *(before[shift:] for shift in shifts))):
            place, version = Path(folder, str(number)), HeldAudio(samples, rate_hz)
            rates.append(code(version, coding, place))
            with open_audio(place) as reader:
                coded.append(np.concatenate(list(reader.blocks())))
    late = round(align(HeldAudio(before, rate_hz), HeldAudio(coded[0], rate_hz)).delay_frames)
    first_out, second_out = (_from(out, late, len(before)) for out in coded[:2])
    alone = []
    for shift, out in zip(shifts, coded[2:], strict=True):
        again = _from(out, late, len(before) - shift)
        alone.append(_apart(first_out[shift:], again, rate_hz, spl_db))
    return Delivered(
        coding=coding,
        kbit_per_s=max(rates[:2]),
        by_coding=_apart(before, first_out, rate_hz, spl_db),
        baseline=_worst(alone),
        after_coding=_apart(first_out, second_out, rate_hz, spl_db),
    )


def _from(coded: Array, late: int, frames: int) -> Array:
    """What a decoder gives without its delay, a whole number of frames whatever the music."""
    moved = coded[late:] if late >= 0 else np.pad(coded, ((-late, 0), (0, 0)))
    return np.pad(moved[:frames], ((0, max(frames - len(moved), 0)), (0, 0)))


def _worst(alone: Sequence[Apart]) -> Apart:
    """The largest residual and the surest detection of several."""
    known = [p for one in alone if (p := one.detection_probability) is not None]
    return Apart(max(one.residual_db for one in alone), max(known, default=None))


def _apart(first: Array, second: Array, rate_hz: int, full_scale_spl_db: float) -> Apart:
    pair = EarPair(rate_hz, first.shape[1], full_scale_spl_db)
    pair.add(first, second)
    power = float(np.square(first).sum())
    left = float(np.square(second - first).sum())
    residual_db = 10.0 * math.log10(left / power) if left > 0.0 and power > 0.0 else -math.inf
    return Apart(residual_db, pair.account().detection_probability)


def _as_html(found: Delivery) -> str:
    """The sentence, then each coding beside the difference."""
    rows = [("the pair itself", "", *_sizes(found.pair), "", "")]
    rows += [
        (
            one.coding.name,
            f"{one.kbit_per_s:.0f} kbit/s",
            *_sizes(one.by_coding),
            _sizes(one.baseline)[1],
            _sizes(one.after_coding)[1],
        )
        for one in found.delivered
    ]
    start, stop = found.passage_s
    return html_table(
        f"From {start:.1f} to {stop:.1f} s, re the music",
        rows,
        head=("", "measured", "what it changes", "noticed", "by coding alone", "pair after"),
        before=(found.sentence,),
    )


def _sizes(found: Apart) -> tuple[str, str]:
    left = "nothing" if found.residual_db == -float("inf") else decibels(found.residual_db)
    p = found.detection_probability
    return left, "too short" if p is None else f"{p:.2f}"
