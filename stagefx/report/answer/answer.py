"""A question answered: both versions played, compared and judged, and told in sentences."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from stagefx.audition.audition import Audition
from stagefx.audition.comparison import Comparison
from stagefx.figures.table import compute_figures
from stagefx.hearing.grades import Grade
from stagefx.hearing.passage import USUAL_PASSAGE_S, Passage
from stagefx.hearing.verdict import LevelBy
from stagefx.io.files import open_audio
from stagefx.report.answer.excerpts import cut
from stagefx.report.answer.results import Answer, FollowUp, Piece
from stagefx.report.answer.waveform import waveform_of
from stagefx.report.question.inputs import Asked, ask
from stagefx.report.text.summary import write_letter

if TYPE_CHECKING:
    from stagefx.blind.result import BlindScore


def answer_question(place: str | Path, *, given: Sequence[str] = (), seed: int = 0) -> Answer:
    """Answer a question file.

    Parameters
    ----------
    place : str or Path
        The question file.
    given : sequence of str
        A viewer's own numbers, each ``TABLE.KEY=VALUE``; the question is answered without them
        as well, to say whether the verdict moves.
    seed : int, default: 0
        Of whatever chance the effects use.

    Returns
    -------
    Answer
        The same for the same files.

    Raises
    ------
    StagefxError
        The question, or a file that it names, cannot be used.

    Examples
    --------
    >>> from stagefx.samples import samples_folder
    >>> found = answer_question(samples_folder() / "questions" / "faster-device.toml")
    >>> found.grade.value
    'should not be heard'
    """
    return answer_asked(
        ask(place, overrides=given), ask(place) if given else None, given=tuple(given), seed=seed
    )


def answer_asked(
    asked: Asked, without: Asked | None = None, *, given: tuple[str, ...] = (), seed: int = 0
) -> Answer:
    """Answer a question whose files are found."""
    level_by: LevelBy = asked.question.level_by or ("gain" if asked.stages else "nothing")
    pieces, before = _pieces(asked, without, level_by, seed)
    decides = max(range(len(pieces)), key=lambda n: _weight(pieces[n].comparison))
    level_db = asked.question.listening_level
    figures = tuple(compute_figures(stage, listening_level_db=level_db) for stage in asked.stages)
    follow_up = None
    if before:
        grade = max(before, key=_weight).verdict.grade
        follow_up = FollowUp(given, grade, pieces[decides].comparison.verdict.grade)
    blind = _blind(asked)
    return Answer(
        asked, pieces, decides, figures,
        write_letter(
            asked, pieces[decides].comparison, pieces[decides].passage, figures,
            music=tuple(piece.music for piece in pieces), decides=decides, level_by=level_by,
            delivery=pieces[decides].delivery, blind=blind,
        ),
        tuple((path.name, _sha256(path)) for path in asked.inputs), seed, level_by, blind,
        follow_up,
    )  # fmt: skip


def _weight(found: Comparison) -> tuple[int, float]:
    """The worst grade first, and of equal ones what is nearest to its limit."""
    margins = [row.margin_db for row in found.audibility if row.margin_db is not None]
    return found.verdict.grade.rank, -min(margins, default=0.0)


def _pieces(
    asked: Asked, without: Asked | None, level_by: LevelBy, seed: int
) -> tuple[tuple[Piece, ...], tuple[Comparison, ...]]:
    """What was found with each piece of music, and what it was without a viewer's numbers."""
    if not asked.stages:
        one, other = asked.files
        with Audition.of_files(
            one, other, listening_level_db=asked.question.listening_level, level_by=level_by
        ) as audition:
            return (_of_files(asked, audition, seed),), ()
    pieces, before = [], []
    baseline, change = asked.stages
    for music in asked.files:
        with Audition.of_stages(
            baseline, change, music,
            listening_level_db=asked.question.listening_level, level_by=level_by, seed=seed,
        ) as audition:  # fmt: skip
            pieces.append(_of_stages(asked, audition, music, seed))
            if without is not None:
                first, second = without.stages
                old = audition.changed(
                    first=first, second=second,
                    listening_level_db=without.question.listening_level,
                    level_by=without.question.level_by or "gain",
                )  # fmt: skip
                before.append(old.compare(_passage(without, old).ends))
    return tuple(pieces), tuple(before)


def _of_files(asked: Asked, audition: Audition, seed: int) -> Piece:
    """All of both, unless a passage is asked for: what was cut or clicks once may lie anywhere."""
    with tempfile.TemporaryDirectory(prefix="stagefx-") as folder:
        residual = Path(folder, "difference.wav")
        found = audition.compare(asked.question.passage, residual=residual)
        passage = _about_moment(asked, found) or _passage(asked, audition)
        return _piece(asked, asked.files[0].name, passage, found, audition, residual, seed)


def _of_stages(asked: Asked, audition: Audition, music: Path, seed: int) -> Piece:
    with tempfile.TemporaryDirectory(prefix="stagefx-") as folder:
        passage = _passage(asked, audition)
        residual = Path(folder, "difference.wav")
        found = audition.compare(passage.ends, residual=residual)
        piece = _piece(asked, music.name, passage, found, audition, residual, seed)
        stages = audition.stages
        if audition.level_by != "gain" or stages is None:
            return piece
        with audition.open() as pair:
            shown = waveform_of(*pair, found.renders[1], stages[1].circuit, passage.ends)
        return replace(piece, waveform=shown)


def _piece(
    asked: Asked,
    music: str,
    passage: Passage,
    found: Comparison,
    audition: Audition,
    residual: Path,
    seed: int,
) -> Piece:
    delivery = audition.deliver(passage.ends) if asked.question.delivery else None
    with audition.open() as pair, open_audio(residual) as rest:
        excerpts = cut(
            *pair, rest, passage.ends, difference_start=found.difference.start, seed=seed
        )
    return Piece(music, passage, found, excerpts, delivery)


def _passage(asked: Asked, audition: Audition) -> Passage:
    if asked.question.passage is not None:
        return Passage(*asked.question.passage, "Named in the question.")
    found = audition.choose_passage(level_matched=audition.level_by != "nothing")
    return replace(found, start_s=round(found.start_s, 3), stop_s=round(found.stop_s, 3))


def _about_moment(asked: Asked, found: Comparison) -> Passage | None:
    """Ten seconds about the event or the edit that is heard, where there is one."""
    over = {row.name for row in found.audibility if row.grade and row.grade.rank >= Grade.MAY.rank}
    difference = found.difference
    start_s, stop_s = (at / difference.rate_hz for at in (difference.start, difference.stop))
    moment_s, why = None, ""
    if "events" in over and found.heard.events.worst_s is not None:
        moment_s, why = start_s + found.heard.events.worst_s, "It holds the loudest event."
    elif "edits" in over:
        longest = max(difference.edits, key=lambda edit: edit.length_s)
        moment_s, why = longest.at_s, "It holds the longest edit."
    if asked.question.passage is not None or moment_s is None:
        return None
    begin_s = max(min(moment_s - USUAL_PASSAGE_S / 2.0, stop_s - USUAL_PASSAGE_S), start_s)
    return Passage(round(begin_s, 3), round(min(begin_s + USUAL_PASSAGE_S, stop_s), 3), why)


def _blind(asked: Asked) -> BlindScore | None:
    result = asked.question.blind
    if result is None:
        return None
    from stagefx.blind.scoring import score_files

    return score_files(asked.folder / result.key, [asked.folder / one for one in result.replies])


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
