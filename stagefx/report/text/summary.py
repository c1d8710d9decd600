"""The answer as a letter: one large sentence, how we know, where it holds, what would change it.

Every sentence is composed from numbers; which of three stands behind it, calculated, measured or
heard blind, is said each time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from stagefx.audition.comparison import Comparison
from stagefx.figures.cautions import cautions_of
from stagefx.figures.table import Figures
from stagefx.hearing.audibility import AudibilityRow
from stagefx.hearing.grades import EAR_MODEL, Grade
from stagefx.hearing.passage import Passage
from stagefx.hearing.rows.dc import is_direct
from stagefx.hearing.thresholds import limits
from stagefx.hearing.verdict import LevelBy
from stagefx.hearing.wording import decibels, quantity, subject
from stagefx.report.question.inputs import Asked
from stagefx.report.text.conditions import tell_circumstances
from stagefx.report.text.context import FaultTold, Known
from stagefx.report.text.headline import headline
from stagefx.report.text.how_we_know import how_we_know
from stagefx.report.text.sentences import as_sentence, shortened
from stagefx.report.text.traced_numbers import Paragraph, Telling

if TYPE_CHECKING:
    from stagefx.audition.delivery import Delivery
    from stagefx.blind.result import BlindScore


@dataclass(frozen=True)
class Letter:
    """An answer in sentences."""

    faults: tuple[FaultTold, ...]
    headline: Paragraph
    how_we_know: Paragraph
    where_it_holds: Paragraph
    what_would_change_it: Paragraph
    cautions: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """The letter as plain values."""
        return {
            "faults": [dict(vars(fault)) for fault in self.faults],
            "headline": self.headline.as_json(),
            "how_we_know": self.how_we_know.as_json(),
            "where_it_holds": self.where_it_holds.as_json(),
            "what_would_change_it": self.what_would_change_it.as_json(),
            "cautions": list(self.cautions),
        }


def write_letter(
    asked: Asked,
    found: Comparison,
    passage: Passage,
    figures: tuple[Figures, ...],
    *,
    music: tuple[str, ...],
    decides: int,
    level_by: LevelBy,
    delivery: Delivery | None = None,
    blind: BlindScore | None = None,
) -> Letter:
    """Compose an answer's sentences from its numbers."""
    faults = tuple(
        FaultTold(shortened(one.stage.name, most=60), fault.code, fault.sentence, fault.caution)
        for one in _apart(figures)
        for fault in one.faults
    )
    known = Known(asked, found, passage, figures, music, decides, level_by, delivery, blind, faults)
    cautions = dict.fromkeys(text for stage in asked.stages for text in cautions_of(stage))
    return Letter(
        faults, headline(known), how_we_know(known), _where_it_holds(known), _changes(known),
        tuple(text for text in cautions if not any(text in fault.caution for fault in faults)),
    )  # fmt: skip


def _apart(figures: Sequence[Figures]) -> Iterator[Figures]:
    """The change's faults first: it is what was asked about."""
    yield from reversed(figures)


def _where_it_holds(known: Known) -> Paragraph:
    telling = Telling()
    if not known.asked.stages:
        named = known.found.verdict.named
        at = f"{known.piece}/comparison/verdict/named"
        return telling.paragraph(
            [
                *(telling.tell(said, said, "", f"{at}/{n}") for n, said in enumerate(named)),
                "This holds for these two files at this listening level.",
                "It does not hold for other music, nor for what else differed when they were made.",
            ]
        )
    return telling.paragraph(
        [
            *tell_circumstances(telling, known.asked.stages),
            _turned(known, telling),
            *_direct(known, telling),
            "It holds for this set-up and this music, not for every listener, room and system.",
        ]
    )


def _turned(known: Known, telling: Telling) -> str:
    """The verdict at the worst position of a volume control, where it depends on it."""
    said = known.found.worst_knob.sentence
    at = f"{known.piece}/comparison/verdict_at_worst_knob/sentence"
    return telling.tell(said, said, "", at) if said else ""


def _direct(known: Known, telling: Telling) -> Iterator[str]:
    """What is not known of direct voltage."""
    for place, remark in enumerate(known.found.remarks):
        if is_direct(remark):
            yield telling.tell(remark, remark, "", f"{known.piece}/comparison/remarks/{place}")


def _changes(known: Known) -> Paragraph:
    telling = Telling()
    verdict = known.found.verdict
    sentences = [_flip(known, telling)]
    for name in ("near_limit", "quieter_room"):
        if said := getattr(verdict, name):
            at = f"{known.piece}/comparison/verdict/{name}"
            sentences.append(telling.tell(said, said, "", at))
    if any(row.name == "level" for row in known.over) and known.level_by == "nothing":
        sentences.append(
            "The levels were left as they are: match them within 0.1 dB and ask again, since "
            "louder is taken for better."
        )
    if verdict.grade.rank < Grade.MAY.rank:
        sentences.append(
            "You may well have heard a change: swapping also changes level, contacts and "
            "expectation. Check level and oscillation first."
        )
    elif known.blind is None and verdict.grade is Grade.MAY:
        sentences.append("Whether anybody does hear it, a blind test with matched levels tells.")
    elif known.blind is None:
        sentences.append("A blind test should show it; one that does not would change this.")
    if known.faults:
        sentences.append("Putting the fault right changes the question; ask it again then.")
    return telling.paragraph(sentences)


def _flip(known: Known, telling: Telling) -> str:
    verdict = known.found.verdict
    flip, over = verdict.flips_at, known.over
    name = over[0].name if over else flip.row
    row = next((one for one in known.found.audibility if one.name == name), None)
    ear = known.deciding[0] if known.deciding else None
    if ear is not None and ear.name == EAR_MODEL and ear.grade not in {None, Grade.BELOW}:
        return _ear_flip(known, telling, ear)
    if row is None or row.margin_db is None or row.value is None:
        return flip.sentence
    at = known.row_at(row)
    margin = telling.tell(decibels(abs(row.margin_db)), row.margin_db, "dB", f"{at}/margin_db")
    what, level = as_sentence(subject(row.name)), limits()[row.name].scale == "level"
    limit = ""
    if not level:
        said = telling.tell(quantity(row.may, row.unit), row.may, row.unit, f"{at}/may")
        limit = f", {{}} {said},"
    if verdict.grade.rank < Grade.MAY.rank:
        return f"{what} would have to grow by {margin}{limit.format('to')} to change this."
    others = [subject(one.name) for one in over if one.name not in {row.name, EAR_MODEL}]
    rest = f", and {' and '.join(others)} would have to as well" if others else ""
    return (
        f"{what} would have to shrink by {margin}{limit.format('to under')} to change this{rest}."
    )


def _ear_flip(known: Known, telling: Telling, row: AudibilityRow) -> str:
    """Where the ear model decides: a probability does not grow by decibels."""
    assert row.value is not None
    at = known.row_at(row)
    now = telling.tell(quantity(row.value, ""), row.value, "", f"{at}/value")
    over = row in known.over
    if now == quantity(row.may, ""):
        side = "less" if over else "more"
        return f"What the ear model says stands at its limit, {now}: a little {side} changes this."
    limit = telling.tell(f"{row.may:g}", row.may, "", f"{at}/may")
    if over:
        others = [subject(one.name) for one in known.over if one.name != row.name]
        rest = f", and {' and '.join(others)} would have to shrink as well" if others else ""
        return (
            f"What the ear model says would have to fall from {now} to under {limit} to change "
            f"this{rest}."
        )
    return f"What the ear model says would have to rise from {now} to {limit} to change this."
