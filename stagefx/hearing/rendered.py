"""Music played through stages, kept for as long as it is compared."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path

from stagefx.audio.files import AudioReader, open_audio
from stagefx.effects.render import render
from stagefx.effects.report import RenderReport
from stagefx.hearing.level_at_ear import USUAL_LISTENING_DB
from stagefx.hearing.verdict import LevelBy
from stagefx.stage.description import Stage

JUDGED_APART = ("noise", "hum")


@contextmanager
def rendered(
    stages: Sequence[Stage],
    music: str | Path,
    *,
    listening_level_db: float = USUAL_LISTENING_DB,
    level_by: LevelBy = "gain",
    seed: int = 0,
    without: Sequence[str] = JUDGED_APART,
) -> Iterator[tuple[tuple[AudioReader, ...], tuple[RenderReport, ...]]]:
    """Music through stages, in floating point, in a temporary folder.

    Parameters
    ----------
    stages : sequence of Stage
        Each with a source level.
    music : str or Path
        An audio file.
    listening_level_db : float, dB, 0 to 120
        For knobs that are set by listening.
    level_by : ``"gain"``, ``"loudness"`` or ``"nothing"``
        How the results are matched, each for itself.
    seed : int
        Of whatever chance the effects use.
    without : sequence of str
        Effects left out: for a comparison the stages' own noise and hum, which are worked out band
        by band for their rows, and would pass for response where the music has nothing.

    Yields
    ------
    readers : tuple of AudioReader
        One a stage; closed, and the files gone, when the context ends.
    reports : tuple of RenderReport
        One a stage.

    Raises
    ------
    StagefxError
        A stage or the music cannot be used.

    Examples
    --------
    >>> from stagefx.evidence.scenario import samples_folder
    >>> from stagefx.stage import load_stage
    >>> trio = samples_folder() / "music" / "trio.flac"
    >>> with rendered([load_stage("line-stage")], trio) as (readers, reports):
    ...     readers[0].format.frames == reports[0].frames
    True
    """
    with tempfile.TemporaryDirectory(prefix="stagefx-") as folder, ExitStack() as opened:
        places = [Path(folder, f"{number}.wav") for number in range(len(stages))]
        reports = tuple(
            render(
                stage, music, place, without=without, level_by=level_by, bits="float",
                seed=seed, listening_level_db=listening_level_db,
            )
            for stage, place in zip(stages, places, strict=True)
        )  # fmt: skip
        yield tuple(opened.enter_context(open_audio(place)) for place in places), reports
