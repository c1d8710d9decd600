"""The whole job on the ready-made scenario: Quillmere Hall's three stages and three pieces."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

from stagefx.circuit.description.files import load_stage
from stagefx.figures.table import Figures, compute_figures
from stagefx.samples import samples_folder

if TYPE_CHECKING:
    from stagefx.audition.comparison import Comparison
    from stagefx.render.report import RenderReport

STAGES = ("stock", "quick", "passive-box")
PIECES = ("drums", "trio", "voice")
CHANGES = MappingProxyType({"quick": "the quick board", "passive-box": "the passive box"})
"""What is set against the stock board."""

BLIND_PASSAGE_S = (2.0, 8.0)
PICTURE = "response-and-headroom.png"
Progress = Callable[[int, int | None], None]


@dataclass(frozen=True)
class Demonstration:
    """What the scenario's stages do, on paper and on music."""

    figures: dict[str, Figures]
    renders: dict[tuple[str, str], RenderReport]
    comparisons: dict[tuple[str, str], Comparison]


def demonstrate(
    folder: Path,
    *,
    pieces: tuple[str, ...] = PIECES,
    passage: tuple[float, float] | None = None,
    listening_level_db: float = 85.0,
    seed: int = 0,
    progress: Progress | None = None,
) -> Demonstration:
    """Do the whole job on the scenario: figures, picture, music, comparisons, residuals."""
    from stagefx.audition.audition import Audition
    from stagefx.render.rendering import render_file
    from stagefx.report.plots.saving import save
    from stagefx.report.plots.stage.figures import draw_figures

    home = samples_folder()
    stages = {name: load_stage(home / "stages" / f"{name}.toml") for name in STAGES}
    figures = {
        name: compute_figures(stage, listening_level_db=listening_level_db)
        for name, stage in stages.items()
    }
    save(draw_figures(figures["stock"], figures["passive-box"]), folder / PICTURE)
    for part in ("music", "difference"):
        (folder / part).mkdir()
    found = Demonstration(figures, {}, {})
    steps, done = len(pieces) * (len(STAGES) + len(CHANGES)), 0
    for piece in pieces:
        music = home / "music" / f"{piece}.flac"
        for name, stage in stages.items():
            found.renders[name, piece] = render_file(
                stage,
                music,
                folder / "music" / f"{piece}-{name}.flac",
                seed=seed,
                listening_level_db=listening_level_db,
            )
            done = _step(progress, done, steps)
        with Audition.of_stages(
            stages["stock"], stages[next(iter(CHANGES))], music,
            listening_level_db=listening_level_db, seed=seed,
        ) as audition:  # fmt: skip
            for change in CHANGES:
                kept = folder / "difference" / f"{piece}-stock-{change}.wav"
                found.comparisons[change, piece] = audition.changed(second=stages[change]).compare(
                    passage, residual=kept if piece == pieces[0] else None
                )
                done = _step(progress, done, steps)
    return found


def _step(progress: Progress | None, done: int, steps: int) -> int:
    if progress is not None:
        progress(done + 1, steps)
    return done + 1


def answer_and_pack(folder: Path, *, seed: int = 0) -> None:
    """Write the page that answers the first question, and a blind pack with its key beside it."""
    from stagefx.report.answer.folder import answer_into
    from stagefx.report.listening.blind_page.pack import prepare_blind

    home = samples_folder()
    answer_into(home / "questions" / "faster-device.toml", folder / "answer", seed=seed)
    prepare_blind(
        [home / "stages" / f"{name}.toml" for name in ("stock", "passive-box")],
        folder / "blind",
        folder / "blind-key.json",
        music=[home / "music" / "trio.flac"],
        passage=BLIND_PASSAGE_S,
        title="Stock board or passive box?",
    )
