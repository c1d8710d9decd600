"""Excerpts for a pack: the same stretch of music in each version, aligned, polarity undone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from stagefx.audition.audition import Audition
from stagefx.circuit.description.stage import Stage
from stagefx.hearing.level_at_ear import USUAL_LISTENING_DB
from stagefx.hearing.passage import USUAL_PASSAGE_S

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Excerpt:
    """A stretch of music in each version."""

    title: str
    rate_hz: int
    versions: tuple[Array, ...]


def excerpt_of_files(
    places: Sequence[str | Path],
    *,
    passage: tuple[float, float] | None = None,
    seconds: float = USUAL_PASSAGE_S,
    listening_level_db: float = USUAL_LISTENING_DB,
) -> Excerpt:
    """An excerpt of audio files that are versions of one piece."""
    first, *others = places
    with Audition.of_files(first, others[0], listening_level_db=listening_level_db) as audition:
        pairs = [audition, *(audition.changed(second=Path(one)) for one in others[1:])]
        return _excerpt(pairs, Path(first).stem, passage, seconds)


def excerpt_of_stages(
    stages: Sequence[Stage],
    music: str | Path,
    *,
    passage: tuple[float, float] | None = None,
    seconds: float = USUAL_PASSAGE_S,
    listening_level_db: float = USUAL_LISTENING_DB,
) -> Excerpt:
    """An excerpt of music played through stages."""
    first, *others = stages
    with Audition.of_stages(
        first, others[0], music, listening_level_db=listening_level_db, without=()
    ) as audition:
        pairs = [audition, *(audition.changed(second=one) for one in others[1:])]
        return _excerpt(pairs, Path(music).stem, passage, seconds)


def _excerpt(
    auditions: Sequence[Audition],
    name: str,
    passage: tuple[float, float] | None,
    seconds: float,
) -> Excerpt:
    """The first version beside each of the others."""
    passage = passage or auditions[0].choose_passage(seconds=seconds).ends
    versions: list[Array] = []
    for audition in auditions:
        first, other = audition.excerpt(passage)
        versions += [other] if versions else [first, other]
    with auditions[0].open() as (one, _):
        rate_hz = one.format.rate_hz
    title = f"{name}, {passage[0]:.1f} to {passage[1]:.1f} s"
    return Excerpt(title, rate_hz, tuple(versions))
