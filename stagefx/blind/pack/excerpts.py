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
    """A stretch of music in each version.

    Parameters
    ----------
    title : str
        What it is, for the listener.
    rate_hz : int, Hz
        Sampling rate.
    versions : tuple of ndarray of float64 [frames, channels], full scale 1.0
        Aligned, equally long; the first is the reference.
    """

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
    """An excerpt of audio files that are versions of one piece.

    Parameters
    ----------
    places : sequence of str or Path
        Two versions or more.
    passage : tuple of two float, s
        From where to where in the first; chosen by the ear model if left out.
    seconds : float, s
        How long a chosen passage is.
    listening_level_db : float, dB
        A-weighted level at the seat that the choice goes by.

    Returns
    -------
    Excerpt
        Of all files.

    Raises
    ------
    AudioError
        A file cannot be read.
    ComparisonError
        The files are not versions of one piece.
    ComparisonError
        The music is shorter than the passage.

    Examples
    --------
    >>> from stagefx.samples import samples_folder
    >>> trio = samples_folder() / "music" / "trio.flac"
    >>> excerpt_of_files([trio, trio], passage=(2.0, 3.0)).versions[1].shape
    (44100, 2)
    """
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
    """An excerpt of music played through stages.

    Parameters
    ----------
    stages : sequence of Stage
        Two or more, each with a source level.
    music : str or Path
        An audio file.
    passage : tuple of two float, s
        From where to where in the music; chosen by the ear model if left out.
    seconds : float, s
        How long a chosen passage is.
    listening_level_db : float, dB
        A-weighted level at the seat; a knob set by listening follows it.

    Returns
    -------
    Excerpt
        Of all stages, with their own noise and hum.

    Raises
    ------
    StagefxError
        A stage or the music cannot be used.
    ComparisonError
        The music is shorter than the passage.

    Examples
    --------
    >>> from stagefx.samples import samples_folder
    >>> from stagefx.circuit.description.files import load_stage
    >>> trio = samples_folder() / "music" / "trio.flac"
    >>> stages = [load_stage("line-stage"), load_stage("line-stage-quick")]
    >>> excerpt_of_stages(stages, trio, passage=(2.0, 3.0)).title
    'trio, 2.0 to 3.0 s'
    """
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
