"""A sighted listening set: what changed, to be heard by somebody who knows which is which.

What is heard here is a lesson in what to listen for.  Whether anybody hears it without knowing is
a question for a blind test.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from stagefx.circuit.description.stage import Stage
from stagefx.errors import AudioError, OutputError
from stagefx.hearing.level_at_ear import USUAL_LISTENING_DB
from stagefx.io.atomic_folder import whole_folder
from stagefx.io.files import STANDARD_STREAM, open_audio

if TYPE_CHECKING:
    from stagefx.report.listening.tracks import ListeningSet


def listening_set_of_files(
    first: str | Path,
    second: str | Path,
    folder: str | Path,
    *,
    passage: tuple[float, float] | None = None,
    listening_level_db: float = USUAL_LISTENING_DB,
    seed: int = 0,
    force: bool = False,
) -> ListeningSet:
    """Make a sighted listening set of two audio files.

    Parameters
    ----------
    first, second : str or Path
        Two versions of a piece.
    folder : str or Path
        Where the set will be.
    passage : tuple of two float, s
        From where to where in the first; chosen by the ear model if left out.
    listening_level_db : float, dB, 0 to 120
        A-weighted level at the seat that the choice and the cards go by.
    seed : int
        Of the dither.
    force : bool
        Whether files that are there may be replaced.

    Returns
    -------
    ListeningSet
        What was made.

    Raises
    ------
    StagefxError
        A file cannot be used, the versions are the same, or the folder cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> from stagefx.samples import samples_folder
    >>> music = samples_folder() / "music"
    >>> with tempfile.TemporaryDirectory() as home:
    ...     listening_set_of_files(music / "trio.flac", music / "trio.flac", Path(home, "set"))
    Traceback (most recent call last):
    stagefx.errors.ComparisonError: the two versions are the same: there is nothing to hear
    """
    _check(Path(folder), first, second, force=force)
    with whole_folder(Path(folder), force=force) as inside:
        from stagefx.report.listening.making import of_files

        return of_files(
            first, second, inside, passage=passage, level_db=listening_level_db, seed=seed
        )


def listening_set_of_stages(
    first: Stage,
    second: Stage,
    music: str | Path,
    folder: str | Path,
    *,
    passage: tuple[float, float] | None = None,
    listening_level_db: float = USUAL_LISTENING_DB,
    seed: int = 0,
    force: bool = False,
) -> ListeningSet:
    """Make a sighted listening set of music through two stages.

    Parameters
    ----------
    first, second : Stage
        Each with a source level.
    music : str or Path
        An audio file.
    folder : str or Path
        Where the set will be.
    passage : tuple of two float, s
        From where to where in the music; chosen by the ear model if left out.
    listening_level_db : float, dB, 0 to 120
        A-weighted level at the seat; a knob set by listening follows it.
    seed : int
        Of noise and dither.
    force : bool
        Whether files that are there may be replaced.

    Returns
    -------
    ListeningSet
        What was made: the two versions, their difference, each effect exaggerated, cards.

    Raises
    ------
    StagefxError
        A stage or the music cannot be used, or the folder cannot be written.

    Notes
    -----
    The same request gives the same bytes.

    Examples
    --------
    >>> import tempfile
    >>> from stagefx.samples import samples_folder
    >>> from stagefx.circuit.description.files import load_stage
    >>> trio = samples_folder() / "music" / "trio.flac"
    >>> stages = load_stage("line-stage"), load_stage("line-stage-quick")
    >>> with tempfile.TemporaryDirectory() as home:
    ...     made = listening_set_of_stages(*stages, trio, Path(home, "set"), passage=(2.0, 3.0))
    >>> [track.kind for track in made.tracks[:4]]
    ['baseline', 'change', 'difference', 'turned up']
    """
    _check(Path(folder), music, force=force)
    with whole_folder(Path(folder), force=force) as inside:
        from stagefx.report.listening.making import of_stages

        return of_stages(
            first, second, music, inside, passage=passage, level_db=listening_level_db, seed=seed
        )


def _check(folder: Path, *inputs: str | Path, force: bool) -> None:
    """Before anything is worked out: that the folder is free, and music can be read elsewhere."""
    for one in inputs:
        if str(one) == STANDARD_STREAM:
            raise AudioError("a listening set reads its music several times; give a file, not '-'")
        if Path(one).is_file() and Path(one).resolve().parent == folder.resolve():
            raise OutputError(f"{one} lies in {folder}, where the set would go; name a new folder")
    if not folder.resolve().parent.is_dir():
        raise OutputError(f"there is no folder '{folder.parent}'; make it first")
    if folder.is_file():
        raise OutputError(f"{folder} is a file; name a folder")
    if not force and folder.is_dir() and any(folder.iterdir()):
        raise OutputError(f"{folder} holds something already; name a new folder, or use --force")
    for one in inputs:
        open_audio(one).close()
