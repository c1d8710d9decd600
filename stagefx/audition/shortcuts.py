"""An audition asked one question: compare, delivery, margin."""

from __future__ import annotations

from pathlib import Path

from stagefx.audition.audition import Audition
from stagefx.audition.comparison import Comparison
from stagefx.audition.delivery import Delivery
from stagefx.audition.margin import Margin
from stagefx.circuit.description.stage import Stage
from stagefx.hearing.level_at_ear import (
    AS_DESCRIBED,
    USUAL_LISTENING_DB,
    USUAL_ROOM_DBA,
    Room,
)
from stagefx.hearing.verdict import LevelBy
from stagefx.io.recording import Recording


def compare_recordings(
    first: Recording,
    second: Recording,
    *,
    listening_level_db: float = USUAL_LISTENING_DB,
    level_by: LevelBy = "nothing",
    room_dba: float | None = USUAL_ROOM_DBA,
    passage: tuple[float, float] | None = None,
) -> Comparison:
    """Compare two versions of a piece and judge the difference."""
    with Audition.of_files(
        first, second,
        listening_level_db=listening_level_db, level_by=level_by, room_dba=room_dba,
    ) as audition:  # fmt: skip
        return audition.compare(passage)


def compare_files(
    first: str | Path,
    second: str | Path,
    *,
    listening_level_db: float = USUAL_LISTENING_DB,
    level_by: LevelBy = "nothing",
    room_dba: float | None = USUAL_ROOM_DBA,
    passage: tuple[float, float] | None = None,
    residual: str | Path | None = None,
    force: bool = False,
) -> Comparison:
    """Compare two audio files and judge the difference.

    Parameters
    ----------
    first, second : str or Path
        Two versions of a piece.
    listening_level_db : float, dB, 0 to 120
        A-weighted level at the seat while the first plays.
    level_by : ``"gain"``, ``"loudness"`` or ``"nothing"``
        What a listener's level match is taken to take away.
    room_dba : float or None, dBA
        Noise of the room at the seat; None for a room that hides nothing.
    passage : tuple of two float, s
        From where to where in the first to compare; all where left out.
    residual : str or Path
        Where to write what is left after gain and delay, at the first's gain.
    force : bool
        Whether a residual that is there may be replaced.

    Returns
    -------
    Comparison
        The difference, the audibility table and the verdict.

    Raises
    ------
    AudioError
        A file cannot be read.
    ComparisonError
        They cannot be compared.
    OutputError
        The residual cannot be written.

    Examples
    --------
    >>> from stagefx.samples import samples_folder
    >>> trio = samples_folder() / "music" / "trio.flac"
    >>> compare_files(trio, trio, passage=(2.0, 4.0)).verdict.grade.value
    'below what can be measured'
    """
    with Audition.of_files(
        first, second,
        listening_level_db=listening_level_db, level_by=level_by, room_dba=room_dba,
    ) as audition:  # fmt: skip
        return audition.compare(passage, residual=residual, force=force)


def compare_stages(
    first: Stage,
    second: Stage,
    music: str | Path,
    *,
    listening_level_db: float = USUAL_LISTENING_DB,
    level_by: LevelBy = "gain",
    room_dba: Room = AS_DESCRIBED,
    passage: tuple[float, float] | None = None,
    residual: str | Path | None = None,
    force: bool = False,
    seed: int = 0,
) -> Comparison:
    """Play music through two stages, compare the results and judge the difference.

    Parameters
    ----------
    first, second : Stage
        Each with a source level.
    music : str or Path
        An audio file.
    listening_level_db : float, dB, 0 to 120
        A-weighted level at the seat while the first plays; a knob set by listening follows it.
    level_by : ``"gain"``, ``"loudness"`` or ``"nothing"``
        How the two results are matched, each for itself.
    room_dba : float or None or ``"as described"``, dBA
        Noise of the room at the seat; as the listening chains describe it, else 30 dBA.
    passage : tuple of two float, s
        From where to where in the music to compare; all where left out.
    residual : str or Path
        Where to write what is left after gain and delay, at the first's gain.
    force : bool
        Whether a residual that is there may be replaced.
    seed : int
        Of whatever chance the effects use.

    Returns
    -------
    Comparison
        As for files, the stages' own noise judged as well.

    Raises
    ------
    StagefxError
        A stage, the music or the residual's place cannot be used.

    Notes
    -----
    The results are kept in floating point in a temporary folder while they are compared.  The
    stages' own noise and hum are not in them: they are worked out band by band for their rows, and
    would pass for response where the music has nothing.  So the remainder is distortion alone.

    Examples
    --------
    >>> from stagefx.samples import samples_folder
    >>> from stagefx.circuit.description.files import load_stage
    >>> stage, trio = load_stage("line-stage"), samples_folder() / "music" / "trio.flac"
    >>> compare_stages(stage, stage, trio, passage=(2.0, 4.0)).verdict.grade.value
    'below what can be measured'
    """
    with Audition.of_stages(
        first, second, music,
        listening_level_db=listening_level_db, level_by=level_by, room_dba=room_dba, seed=seed,
    ) as audition:  # fmt: skip
        return audition.compare(passage, residual=residual, force=force)


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
    >>> from stagefx.samples import samples_folder
    >>> trio = samples_folder() / "music" / "trio.flac"
    >>> deliver_files(trio, trio, passage=(2.0, 3.0)).sentence
    'The two versions are the same, so there is nothing that could get lost.'
    """
    with Audition.of_files(first, second, listening_level_db=listening_level_db) as audition:
        return audition.deliver(passage)


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
    >>> from stagefx.samples import samples_folder
    >>> from stagefx.circuit.description.files import load_stage
    >>> stage, trio = load_stage("line-stage"), samples_folder() / "music" / "trio.flac"
    >>> deliver_stages(stage, stage, trio, passage=(2.0, 3.0)).least_ratio is None
    True
    """
    with Audition.of_stages(
        first, second, music, listening_level_db=listening_level_db, seed=seed
    ) as audition:
        return audition.deliver(passage)


def margin(
    stage: Stage,
    music: str | Path,
    *,
    passage: tuple[float, float] | None = None,
    whole: bool = False,
    listening_level_db: float = USUAL_LISTENING_DB,
    room_dba: Room = AS_DESCRIBED,
    seed: int = 0,
) -> Margin:
    """Find for each effect of a stage how far its cause would have to grow to be heard.

    ``the least k at which the effect alone, its cause k times as bad, may be heard``

    Parameters
    ----------
    stage : Stage
        With a source level.
    music : str or Path
        An audio file.
    passage : tuple of two float, s
        From where to where to listen; chosen where left out.
    whole : bool
        Whether to listen to the whole piece instead of ten seconds.
    listening_level_db : float, dB, 0 to 120
        A-weighted level at the seat while the music plays; a knob set by listening follows it.
    room_dba : float or None or ``"as described"``, dBA
        Noise of the room at the seat; as the listening chain describes it, else 30 dBA.
    seed : int
        Of whatever chance the effects use.

    Returns
    -------
    Margin
        One factor a cause, to 1 %.

    Raises
    ------
    StagefxError
        The stage, the music or the passage cannot be used.

    Notes
    -----
    Each effect acts alone; the others are flat gains.  Slew, limits, gain-bandwidth and coupling
    capacitances are divided by k, everything else is multiplied by it.  A grid of 1.25 from 1 to
    10,000 is bisected, trusting that more is never heard less, and refined to 1 %.  Where
    the paper alone tells (response, noise, hum, crosstalk) the ear model only checks that it
    would not have heard the change before.

    Examples
    --------
    >>> from stagefx.samples import samples_folder
    >>> from stagefx.circuit.description.files import load_stage
    >>> trio = samples_folder() / "music" / "trio.flac"
    >>> found = margin(load_stage("passive-control"), trio, passage=(2.0, 4.0))
    >>> [one.effect for one in found.effects]
    ['loading', 'noise']
    """
    with Audition.of_stages(
        stage, stage, music, listening_level_db=listening_level_db, room_dba=room_dba, seed=seed
    ) as audition:
        return audition.margin(passage, whole=whole)
