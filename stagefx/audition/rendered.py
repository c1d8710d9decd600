"""Music played through stages, kept for as long as it is compared."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path

from stagefx.circuit.description.stage import Stage
from stagefx.hearing.level_at_ear import USUAL_LISTENING_DB
from stagefx.hearing.verdict import LevelBy
from stagefx.io.files import AudioReader, open_audio
from stagefx.render.preparation import programme_level_db, set_by_listening
from stagefx.render.rendering import render_file
from stagefx.render.report import RenderReport

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
    programme_db: float | None = None,
) -> Iterator[tuple[tuple[AudioReader, ...], tuple[RenderReport, ...]]]:
    """Readers and reports of music through stages, in floating point, in a temporary folder.

    Each result is matched for itself by `level_by`.  What is left out are, for a comparison, the
    stages' own noise and hum, which are worked out band by band for their rows, and would pass for
    response where the music has nothing.
    """
    if programme_db is None and any(set_by_listening(stage) for stage in stages):
        with open_audio(music) as original:
            programme_db = programme_level_db(original)
    with tempfile.TemporaryDirectory(prefix="stagefx-") as folder, ExitStack() as opened:
        places = [Path(folder, f"{number}.wav") for number in range(len(stages))]
        reports = tuple(
            render_file(
                stage, music, place, without=without, level_by=level_by, bits="float",
                seed=seed, listening_level_db=listening_level_db, programme_db=programme_db,
            )
            for stage, place in zip(stages, places, strict=True)
        )  # fmt: skip
        yield tuple(opened.enter_context(open_audio(place)) for place in places), reports
