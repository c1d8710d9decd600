"""What the sentences of a letter are composed from, and which kind of difference comes first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from stagefx.audition.comparison import Comparison
from stagefx.figures.table import Figures
from stagefx.hearing.audibility import AudibilityRow
from stagefx.hearing.grades import EAR_MODEL, Grade
from stagefx.hearing.passage import Passage
from stagefx.hearing.verdict import LevelBy
from stagefx.report.question.inputs import Asked
from stagefx.report.text.margins import nearest_first
from stagefx.report.text.sentences import shortened

if TYPE_CHECKING:
    from stagefx.audition.delivery import Delivery
    from stagefx.blind.result import BlindScore
    from stagefx.render.report import Moment

FAR_DB = 40.0
"""What is so far under its limit is not told one by one."""
_PLACES = {"balance": 0, EAR_MODEL: 2}


@dataclass(frozen=True)
class FaultTold:
    """A fault of one of the two stages."""

    stage: str
    code: str
    sentence: str
    caution: str


@dataclass(frozen=True)
class Known:
    """All that a letter's sentences are composed from."""

    asked: Asked
    found: Comparison
    passage: Passage
    figures: tuple[Figures, ...]
    music: tuple[str, ...]
    decides: int
    level_by: LevelBy
    delivery: Delivery | None
    blind: BlindScore | None
    faults: tuple[FaultTold, ...]

    @property
    def names(self) -> tuple[str, str]:
        """Baseline and change, in quotation marks."""
        if self.asked.stages:
            first, second = (shortened(stage.name, most=60) for stage in self.asked.stages)
        else:
            first, second = (shortened(file.name, most=60) for file in self.asked.files)
        return f"“{first}”", f"“{second}”"

    @property
    def piece(self) -> str:
        """JSON pointer of the piece that decides."""
        return f"/pieces/{self.decides}"

    def row_at(self, row: AudibilityRow) -> str:
        """Where a row stands in the answer's JSON."""
        place = [one.name for one in self.found.audibility].index(row.name)
        return f"{self.piece}/comparison/audibility/{place}"

    @property
    def deciding(self) -> list[AudibilityRow]:
        """Judged rows, nearest to being heard first; a cause before its effect.

        What may be heard has its cause told before the ear model's word for it, and a balance
        before the level that it moves.
        """
        rows = nearest_first(self.found.audibility)
        return sorted(rows, key=_place)

    @property
    def over(self) -> list[AudibilityRow]:
        """Rows that may or will be heard, causes first."""
        return [row for row in self.deciding if is_over(row)]


def _place(row: AudibilityRow) -> tuple[bool, int]:
    over = is_over(row)
    return not over, _PLACES.get(row.name, 1) if over else 1


def is_over(row: AudibilityRow) -> bool:
    """Whether a row may or will be heard."""
    return row.grade is not None and row.grade.rank >= Grade.MAY.rank


def strain_verb(moment: Moment) -> str:
    """What happened at a moment of a render."""
    return "clips" if moment.clipped_frames >= moment.slewing_frames else "slews"
