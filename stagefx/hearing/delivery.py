"""Whether a difference survives what a film site or a player does to the sound.

Both versions are coded as an audience receives them and decoded again.  What the coding itself
changes is set beside what was to be shown.
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.audio.alignment import Alignment, align
from stagefx.audio.files import open_audio
from stagefx.audio.recording import HeldAudio, Recording
from stagefx.difference.pairs import side_by_side
from stagefx.hearing.coding import CODINGS, Coding, at_rate_of, code
from stagefx.hearing.ear import EarPair
from stagefx.hearing.level_at_ear import USUAL_LISTENING_DB, level_of
from stagefx.hearing.passage import USUAL_PASSAGE_S, choose_passage
from stagefx.hearing.rendered import rendered
from stagefx.hearing.thresholds import limits
from stagefx.hearing.wording import factor
from stagefx.stage.description import Stage

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Apart:
    """How far two versions of the same music are apart.

    Parameters
    ----------
    residue_db : float, dB
        Their difference after delay and gain, re the music; minus infinity for none.
    detection_probability : float or None
        By the ear model, their levels as they are; None where the music is too short to tell.
    """

    residue_db: float
    detection_probability: float | None

    def as_json(self) -> dict[str, Any]:
        """The two figures as plain values.

        Returns
        -------
        dict
            ``residue_db``, ``detection_probability``.
        """
        nothing = {"value": None, "reason": "nothing is left"}
        short = {"value": None, "reason": "too short"}
        p = self.detection_probability
        return {
            "residue_db": self.residue_db if math.isfinite(self.residue_db) else nothing,
            "detection_probability": short if p is None else p,
        }


@dataclass(frozen=True)
class Delivered:
    """A pair through one way of coding.

    Parameters
    ----------
    coding : Coding
        The way.
    kbit_per_s : float, kbit/s
        Measured.
    by_coding : Apart
        The first version before and after coding.
    after_coding : Apart
        The two versions, both coded.
    """

    coding: Coding
    kbit_per_s: float
    by_coding: Apart
    after_coding: Apart

    def as_json(self) -> dict[str, Any]:
        """The pair as plain values.

        Returns
        -------
        dict
            ``coding``, ``kbit_per_s``, ``by_coding``, ``after_coding``.
        """
        return {
            "coding": self.coding.name,
            "kbit_per_s": self.kbit_per_s,
            "by_coding": self.by_coding.as_json(),
            "after_coding": self.after_coding.as_json(),
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
        if not math.isfinite(self.pair.residue_db):
            return None
        least = min(one.by_coding.residue_db for one in self.delivered)
        return float(10.0 ** ((least - self.pair.residue_db) / 20.0))

    @property
    def noticed_after(self) -> tuple[Delivered, ...]:
        """The codings after which the ear model still tells the two apart for sure."""
        will = limits()["ear model"].will
        return tuple(
            one for one in self.delivered if (one.after_coding.detection_probability or 0.0) >= will
        )

    @property
    def sentence(self) -> str:
        """What that means for whoever shows the difference."""
        ratio, pair = self.least_ratio, self.pair.detection_probability or 0.0
        if ratio is None:
            return "The two versions are the same, so there is nothing that could get lost."
        if ratio >= 1.0:
            size = (
                "What an audience is sent changes the sound more than the difference itself does: "
                f"about {factor(ratio)} as much at the best of these codings."
            )
        else:
            size = f"The difference is about {factor(1.0 / ratio)} what the best coding changes."
        if pair < limits()["ear model"].may:
            return f"{size} Nobody can judge it by what a film carries; offer lossless files."
        after = len(self.noticed_after)
        if after == len(self.delivered):
            return f"{size} It is still likely to be noticed after each of them: it survives."
        return (
            f"{size} It is likely to be noticed after {after} of {len(self.delivered)} of them; "
            "offer lossless files."
        )

    def _repr_html_(self) -> str:
        """The delivery, as a notebook shows it."""
        from stagefx.hearing.notebook import delivery_as_html

        return delivery_as_html(self)

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
) -> Delivery:
    """Pass a pair through lossy coding.

    Parameters
    ----------
    first, second : Recording
        Two versions of a piece.
    codings : sequence of Coding
        The ways.
    listening_level_db : float, dB, 0 to 120
        A-weighted level at the seat while the first plays.
    passage : tuple of two float, s
        What to go by; the ten seconds in which the difference is most likely heard if left out.

    Returns
    -------
    Delivery
        The coding's own change beside the pair's.

    Raises
    ------
    ComparisonError
        The two cannot be compared.
    AudioError
        They cannot be coded.

    Notes
    -----
    The second is brought to the first's time and gain before either is coded, so that the coding
    and not the level is judged.  Files live in a temporary folder.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> music = 0.1 * np.cumsum(rng.standard_normal((96000, 1)), axis=0) / 50.0
    >>> hiss = 1e-5 * rng.standard_normal((96000, 1))
    >>> pair = HeldAudio(music, 48000), HeldAudio(music + hiss, 48000)
    >>> deliver(*pair, codings=CODINGS[-1:]).least_ratio > 1.0
    True
    """
    ear = level_of(first, listening_level_db=listening_level_db)
    alignment = align(first, second)
    if passage is None:
        chosen = choose_passage(
            first, second, seconds=USUAL_PASSAGE_S, listening_level_db=listening_level_db,
            alignment=alignment,
        )  # fmt: skip
        passage = (chosen.start_s, chosen.stop_s)
    rate_hz = first.format.rate_hz
    start, stop = (round(edge * rate_hz) for edge in passage)
    pairs = list(side_by_side(first, second, alignment, start=start, stop=stop))
    one = HeldAudio(np.concatenate([pair.first for pair in pairs]), rate_hz)
    other = np.concatenate([pair.second for pair in pairs]) / alignment.gain
    two = HeldAudio(other, rate_hz, place="the second, aligned")
    spl_db = ear.full_scale_spl_db
    delivered = []
    with tempfile.TemporaryDirectory(prefix="stagefx-") as folder:
        for number, coding in enumerate(codings):
            places = [Path(folder, f"{number}-{which}") for which in ("first", "second")]
            rates = [
                code(version, coding, at) for version, at in zip((one, two), places, strict=True)
            ]
            before = at_rate_of(one, coding)
            first_out, second_out = (_decoded(place, before, coding, one) for place in places)
            at_hz = coding.rate_hz(rate_hz)
            delivered.append(
                Delivered(
                    coding=coding,
                    kbit_per_s=max(rates),
                    by_coding=_apart(before, first_out, at_hz, spl_db),
                    after_coding=_apart(first_out, second_out, at_hz, spl_db),
                )
            )
    return Delivery(_apart(one.samples, two.samples, rate_hz, spl_db), tuple(delivered), passage)


def deliver_files(
    first: str | Path,
    second: str | Path,
    *,
    listening_level_db: float = USUAL_LISTENING_DB,
    passage: tuple[float, float] | None = None,
) -> Delivery:
    """Pass two audio files through lossy coding.

    Parameters
    ----------
    first, second : str or Path
        Two versions of a piece.
    listening_level_db : float, dB, 0 to 120
        A-weighted level at the seat while the first plays.
    passage : tuple of two float, s
        What to go by; chosen if left out.

    Returns
    -------
    Delivery
        The coding's own change beside the pair's.

    Raises
    ------
    AudioError
        A file cannot be read, or not be coded.
    ComparisonError
        The two cannot be compared.

    Examples
    --------
    >>> from stagefx.evidence.scenario import samples_folder
    >>> trio = samples_folder() / "music" / "trio.flac"
    >>> deliver_files(trio, trio, passage=(2.0, 3.0)).sentence
    'The two versions are the same, so there is nothing that could get lost.'
    """
    with open_audio(first) as one, open_audio(second) as other:
        return deliver(one, other, listening_level_db=listening_level_db, passage=passage)


def deliver_stages(
    first: Stage,
    second: Stage,
    music: str | Path,
    *,
    listening_level_db: float = USUAL_LISTENING_DB,
    passage: tuple[float, float] | None = None,
    seed: int = 0,
) -> Delivery:
    """Play music through two stages and pass the results through lossy coding.

    Parameters
    ----------
    first, second : Stage
        Each with a source level.
    music : str or Path
        An audio file.
    listening_level_db : float, dB, 0 to 120
        A-weighted level at the seat while the first plays.
    passage : tuple of two float, s
        What to go by; chosen if left out.
    seed : int
        Of whatever chance the effects use.

    Returns
    -------
    Delivery
        The coding's own change beside the stages' difference.

    Raises
    ------
    StagefxError
        A stage or the music cannot be used.

    Examples
    --------
    >>> from stagefx.evidence.scenario import samples_folder
    >>> from stagefx.stage import load_stage
    >>> stage, trio = load_stage("line-stage"), samples_folder() / "music" / "trio.flac"
    >>> deliver_stages(stage, stage, trio, passage=(2.0, 3.0)).least_ratio is None
    True
    """
    with rendered((first, second), music, listening_level_db=listening_level_db, seed=seed) as (
        (one, other),
        _,
    ):
        return deliver(one, other, listening_level_db=listening_level_db, passage=passage)


def _decoded(place: Path, before: Array, coding: Coding, music: HeldAudio) -> Array:
    """What comes out of the decoder, its delay taken away, as long as what went in."""
    with open_audio(place) as reader:
        coded = np.concatenate(list(reader.blocks()))
    rate_hz = coding.rate_hz(music.rate_hz)
    sent, got = HeldAudio(before, rate_hz), HeldAudio(coded, rate_hz, place=coding.name)
    found = align(sent, got)
    still = Alignment(found.delay_frames, 0.0, 1)
    parts = [pair.second for pair in side_by_side(sent, got, still)]
    start, _ = still.common_stretch(len(before), len(coded))
    moved = np.concatenate(parts)
    return np.pad(moved, ((start, max(len(before) - start - len(moved), 0)), (0, 0)))


def _apart(first: Array, second: Array, rate_hz: int, full_scale_spl_db: float) -> Apart:
    pair = EarPair(rate_hz, first.shape[1], full_scale_spl_db)
    pair.add(first, second)
    power = float(np.square(first).sum())
    left = float(np.square(second - first).sum())
    residue_db = 10.0 * math.log10(left / power) if left > 0.0 and power > 0.0 else -math.inf
    return Apart(residue_db, pair.account().detection_probability)
