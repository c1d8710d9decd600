"""What an answer holds: the question, what was found with each piece of music, the letter."""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

from stagefx.audition.comparison import Comparison
from stagefx.audition.delivery import Delivery
from stagefx.circuit.description.files import stage_tables
from stagefx.figures.table import Figures
from stagefx.hearing.grades import Grade
from stagefx.hearing.passage import Passage
from stagefx.hearing.verdict import LevelBy
from stagefx.report.answer.excerpts import Excerpts
from stagefx.report.answer.waveform import Waveform
from stagefx.report.question.inputs import Asked
from stagefx.report.text.context import FAR_DB
from stagefx.report.text.margins import distance_db, nearest_first
from stagefx.report.text.summary import Letter

if TYPE_CHECKING:
    from stagefx.blind.result import BlindScore

LIBRARIES = ("stagefx", "numpy", "scipy", "soxr", "matplotlib")


@dataclass(frozen=True)
class Piece:
    """What was found with one piece of music."""

    music: str
    passage: Passage
    comparison: Comparison
    excerpts: Excerpts
    delivery: Delivery | None = None
    waveform: Waveform | None = None


@dataclass(frozen=True)
class FollowUp:
    """What a viewer's own numbers do to a verdict."""

    given: tuple[str, ...]
    before: Grade
    after: Grade

    @property
    def moves(self) -> bool:
        """Whether the verdict moves."""
        return self.before is not self.after

    @property
    def sentence(self) -> str:
        """The same in words."""
        numbers = " and ".join(one.replace("=", " = ").replace('"', "") for one in self.given)
        if not self.moves:
            return f"With {numbers} the verdict does not move: {self.after}."
        return f"With {numbers} the verdict moves from “{self.before}” to “{self.after}”."


@dataclass(frozen=True)
class Answer:
    """An answer, and all it rests on.

    Parameters
    ----------
    asked : Asked
        The question.
    pieces : tuple of Piece
        One a piece of music, in the question's order.
    decides : int
        Which of them decides: the one in which the difference is nearest to being heard.
    figures : tuple of Figures
        Of the two stages on paper; empty of audio files.
    letter : Letter
        The answer in sentences.
    hashes : tuple of (str, str)
        File name and SHA-256 of every input.
    seed : int
        Of whatever chance was used.
    level_by : ``"gain"``, ``"loudness"`` or ``"nothing"``
        How levels were matched.
    blind : BlindScore or None
        Of a blind test, where there is one.
    follow_up : FollowUp or None
        Where a viewer's numbers were given.
    """

    asked: Asked
    pieces: tuple[Piece, ...]
    decides: int
    figures: tuple[Figures, ...]
    letter: Letter
    hashes: tuple[tuple[str, str], ...]
    seed: int
    level_by: LevelBy
    blind: BlindScore | None = None
    follow_up: FollowUp | None = None

    @property
    def piece(self) -> Piece:
        """The piece of music that decides."""
        return self.pieces[self.decides]

    @property
    def grade(self) -> Grade:
        """The answer's grade."""
        return self.piece.comparison.verdict.grade

    @property
    def command(self) -> str:
        """The command that makes this answer again, to be typed in the question file's folder."""
        given = self.follow_up.given if self.follow_up is not None else ()
        words = ["stagefx", "answer", self.asked.name, "FOLDER"]
        words += [word for one in given for word in ("--with", one)]
        words += ["--seed", str(self.seed)] if self.seed else []
        return shlex.join(words)

    def as_json(self) -> dict[str, Any]:
        """The answer as plain values.

        Returns
        -------
        dict
            Question, grade, sentences with their numbers, comparisons, figures, settings.
        """
        asked = self.asked
        question = asked.question.model_dump(mode="json", exclude_none=True, exclude_defaults=True)
        plain: dict[str, Any] = {
            "question": question,
            "grade": str(self.grade),
            "basis": self.piece.comparison.verdict.basis,
            "letter": self.letter.as_json(),
            "music": {"count": len(self.pieces), "decides": self.decides},
            "pieces": [_piece(piece) for piece in self.pieces],
            "stages": [stage_tables(stage) for stage in asked.stages],
            "figures": [figures.as_json() for figures in self.figures],
            "settings": {
                "listening_level_db": asked.question.listening_level,
                "level_by": self.level_by,
                "seed": self.seed,
            },
            "inputs": [{"file": name, "sha256": digest} for name, digest in self.hashes],
            "versions": {name: version(name) for name in LIBRARIES},
            "command": self.command,
        }
        if self.follow_up is not None:
            plain["follow_up"] = {
                "given": list(self.follow_up.given),
                "before": str(self.follow_up.before),
                "after": str(self.follow_up.after),
                "moves": self.follow_up.moves,
                "sentence": self.follow_up.sentence,
            }
        if self.blind is not None:
            plain["blind"] = self.blind.as_json()
        return plain


def _piece(piece: Piece) -> dict[str, Any]:
    rows = piece.comparison.audibility
    plain: dict[str, Any] = {
        "music": piece.music,
        "passage": piece.passage.as_json(),
        "comparison": piece.comparison.as_json(),
        "below": sum(row.grade is Grade.BELOW for row in rows),
        "far": _far(piece),
        "renders": [report.as_json() for report in piece.comparison.renders],
        "played": piece.excerpts.as_json(),
    }
    if piece.delivery is not None:
        plain["delivery"] = piece.delivery.as_json()
        plain["codings"] = {
            "tried": len(piece.delivery.delivered),
            "noticed_after": len(piece.delivery.noticed_after),
        }
    return plain


def _far(piece: Piece) -> int:
    """Measured differences, the nearest left out, that lie far under where they may be heard."""
    rows = nearest_first(piece.comparison.audibility)[1:]
    return sum(distance_db(row) >= FAR_DB and row.grade is not Grade.BELOW for row in rows)
