"""Excerpts for a pack: the same stretch of music in each version, aligned, polarity undone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from stagefx.align.alignment import align
from stagefx.audition.rendered import rendered
from stagefx.circuit.description.stage import Stage
from stagefx.difference.pairs import side_by_side
from stagefx.errors import BlindError
from stagefx.hearing.level_at_ear import USUAL_LISTENING_DB
from stagefx.hearing.passage import USUAL_PASSAGE_S, choose_passage
from stagefx.io.files import open_audio
from stagefx.io.recording import Recording

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
    BlindError
        The music is shorter than the passage.

    Examples
    --------
    >>> from stagefx.samples import samples_folder
    >>> trio = samples_folder() / "music" / "trio.flac"
    >>> excerpt_of_files([trio, trio], passage=(2.0, 3.0)).versions[1].shape
    (44100, 2)
    """
    from contextlib import ExitStack

    with ExitStack() as opened:
        readers = [opened.enter_context(open_audio(place)) for place in places]
        return _excerpt(readers, Path(places[0]).stem, passage, seconds, listening_level_db)


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
    BlindError
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
    played = rendered(stages, music, listening_level_db=listening_level_db, without=())
    with played as (readers, _):
        return _excerpt(readers, Path(music).stem, passage, seconds, listening_level_db)


def _excerpt(
    readers: Sequence[Recording],
    name: str,
    passage: tuple[float, float] | None,
    seconds: float,
    listening_level_db: float,
) -> Excerpt:
    first, *others = readers
    made = first.format
    if passage is None:
        chosen = choose_passage(
            first, others[0], seconds=seconds, listening_level_db=listening_level_db
        )
        passage = (chosen.start_s, chosen.stop_s)
    start, stop = (round(edge * made.rate_hz) for edge in passage)
    if not 0 <= start < stop <= made.frames:
        raise BlindError(
            f"{first.place} has no passage from {passage[0]:g} s to {passage[1]:g} s; give two "
            f"times in order, between 0 and {made.frames / made.rate_hz:.6g} s"
        )
    versions = [first.read(start, stop)]
    for other in others:
        alignment = align(first, other)
        pairs = list(side_by_side(first, other, alignment, start=start, stop=stop))
        found = np.concatenate([pair.second for pair in pairs]) if pairs else np.zeros((0, 1))
        if len(found) != stop - start:
            raise BlindError(
                f"{other.place} does not hold the whole passage from {passage[0]:g} s to "
                f"{passage[1]:g} s; give another passage"
            )
        versions.append(alignment.polarity * found)
    title = f"{name}, {passage[0]:.1f} to {passage[1]:.1f} s"
    return Excerpt(title, made.rate_hz, tuple(versions))
