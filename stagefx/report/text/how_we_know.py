"""How an answer is known: what it rests on, and how all else stands."""

from __future__ import annotations

from stagefx.figures.table import Figures
from stagefx.hearing.grades import Grade
from stagefx.hearing.wording import decibels, quantity, subject
from stagefx.report.text.context import FAR_DB, Known, strain_verb
from stagefx.report.text.margins import distance_db
from stagefx.report.text.names import NAMES
from stagefx.report.text.numbers import amount
from stagefx.report.text.sentences import as_sentence, shortened
from stagefx.report.text.side_by_side import side_by_side
from stagefx.report.text.traced_numbers import Paragraph, Telling, tell_row

MOST_NAMED = 3
"""Rows of the audibility table that the letter names beside the first."""
IN_FULL = {
    "source_over_sensitivity_db": "the source over what rated power needs",
    "ultrasonic_w": "the oscillation's power in each loudspeaker",
}
"""Names that lean on their neighbours in a table."""
MOMENT_S = 0.2
"""Length of a moment of a render's report."""
FAR = "more than a hundred"
_MATCHED = {"gain": "levels matched by gain", "loudness": "levels matched by loudness"}


def how_we_know(known: Known) -> Paragraph:
    """On what the answer rests: calculated, measured or heard blind, and what stood next to it."""
    telling = Telling()
    return telling.paragraph(
        [
            _basis(known),
            _played(known, telling),
            _rows(known, telling),
            _remainder(known, telling),
            _strain(known, telling),
            _on_paper(known, telling),
            _not_judged(known),
            _heard_blind(known),
            _delivered(known, telling),
        ]
    )


def _basis(known: Known) -> str:
    if known.asked.stages:
        return (
            "Calculated from the values of both stages as described; none of it was measured on "
            "a bench."
        )
    return "Measured between two audio files; what made them differ is not known from them alone."


def _played(known: Known, telling: Telling) -> str:
    music = f"“{shortened(known.music[known.decides], most=60)}”"
    which = ""
    if len(known.music) > 1:
        count = telling.tell(str(len(known.music)), len(known.music), "pieces", "/music/count")
        which = f"Of {count} pieces of music, {music} brings it nearest to being heard. "
    how = _MATCHED.get(known.level_by, "levels as they are")
    if not known.asked.stages and known.asked.question.passage is None:
        whole = f"All of {music} was compared with the other at {_level(known, telling)}, {how}"
        return f"{whole}; {_passage(known, telling)} is played here."
    verb = "was played through both" if known.asked.stages else "was compared with the other"
    passage = _passage(known, telling)
    return f"{which}{as_sentence(music)}, {passage}, {verb} at {_level(known, telling)}, {how}."


def _passage(known: Known, telling: Telling) -> str:
    start, stop = known.passage.start_s, known.passage.stop_s
    at = f"{known.piece}/passage"
    first = telling.tell(f"{start:.1f}", start, "s", f"{at}/start_s")
    return f"{first} to {telling.tell(f'{stop:.1f} s', stop, 's', f'{at}/stop_s')}"


def _level(known: Known, telling: Telling) -> str:
    level = known.found.level_at_ear.listening_level_db
    at = f"{known.piece}/comparison/level_at_ear/listening_level_db"
    return telling.tell(f"{level:g} dB", level, "dB", at)


def _rows(known: Known, telling: Telling) -> str:
    """What the headline leaves out: the next nearest, and how the others stand."""
    others = known.deciding[1:]
    near = [row for row in others if distance_db(row) < FAR_DB and row.grade is not Grade.BELOW]
    clauses = []
    for row in near[:MOST_NAMED]:
        at = known.row_at(row)
        clause = tell_row(telling, row, at, everyday=False)
        if row.name not in {"noise", "hum"}:
            said = telling.tell(quantity(row.may, row.unit), row.may, row.unit, f"{at}/may")
            clause = f"{clause}, where it may be heard from {said}"
        clauses.append(clause)
    text = f"Beside that, {'; '.join(clauses)}." if clauses else ""
    below = sum(row.grade is Grade.BELOW for row in known.deciding)
    far = len(others) - len(near) - sum(row.grade is Grade.BELOW for row in others)
    rest = []
    if below:
        said = telling.tell(str(below), below, "rows", f"{known.piece}/below")
        rest.append(f"{said} kinds of difference are too small to be measured")
    if far:
        said = telling.tell(str(far), far, "rows", f"{known.piece}/far")
        rest.append(f"{said} of the others {'is' if far == 1 else 'are'} {FAR} times too small")
    tail = f"{as_sentence(' and '.join(rest))}." if rest else ""
    return " ".join(part for part in (text, tail) if part)


def _remainder(known: Known, telling: Telling) -> str:
    rest = known.found.difference.remainder_db
    if rest is None or rest == float("-inf"):
        return ""
    size = telling.tell(decibels(-rest), rest, "dB", f"{known.piece}/comparison/remainder_db")
    return f"The distortion and noise residual is {size} below the music."


def _strain(known: Known, telling: Telling) -> str:
    """Which of the two clips or slews, where, and whether that was in the passage."""
    sentences = []
    for n, (name, report) in enumerate(zip(known.names, known.found.renders, strict=False)):
        if not report.worst_moments:
            continue
        moment = report.worst_moments[0]
        at = f"{known.piece}/renders/{n}/worst_moments/0/time_s"
        when = telling.tell(f"{moment.time_s:.1f} s", moment.time_s, "s", at)
        inside = known.passage.start_s <= moment.time_s + MOMENT_S and (
            moment.time_s < known.passage.stop_s
        )
        where = "" if inside else ", outside what was compared"
        sentences.append(
            f"On this music {name} {strain_verb(moment)}, most of all at {when}{where}."
        )
    return " ".join(sentences)


def _on_paper(known: Known, telling: Telling) -> str:
    if len(known.figures) != 2:
        return ""
    wanted = known.asked.question.figures
    clauses = []
    for row in side_by_side(*known.figures):
        if row.key not in wanted:
            continue
        both = [
            _amount_told(telling, known.figures[n], n, row.key)
            for n in range(2)
        ]  # fmt: skip
        clauses.append(
            f"{IN_FULL.get(row.key, NAMES[row.key])} {both[0]} "
            + ("either way" if both[0] == both[1] else f"before and {both[1]} after")
        )
    return f"On paper: {'; '.join(clauses)}." if clauses else ""


def _amount_told(telling: Telling, figures: Figures, place: int, key: str) -> str:
    """A figure on paper with its unit, noted; or why there is none."""
    figure = figures.figures.get(key)
    if figure is None or figure.value is None:
        return "none" if figure is None else f"none ({figure.reason})"
    said = amount(figure.value, figure.unit)
    return telling.tell(said, figure.value, figure.unit, f"/figures/{place}/figures/{key}/value")


def _not_judged(known: Known) -> str:
    rows = [row for row in known.found.audibility if row.grade is None]
    if not rows:
        return ""
    said = "; ".join(f"{subject(row.name)} ({row.remark or 'not measured'})" for row in rows)
    return f"Not judged: {said}."


def _heard_blind(known: Known) -> str:
    return f"Heard blind: {known.blind.sentence}" if known.blind is not None else ""


def _delivered(known: Known, telling: Telling) -> str:
    if known.delivery is None:
        return ""
    codings, after = len(known.delivery.delivered), len(known.delivery.noticed_after)
    at = f"{known.piece}/codings"
    said = telling.tell(str(codings), codings, "codings", f"{at}/tried")
    kept = telling.tell(str(after) if after else "none", after, "codings", f"{at}/noticed_after")
    return (
        f"The ear model still tells the two apart for sure after {kept} of {said} ways of lossy "
        "coding. A film's sound is no evidence; offer lossless files."
    )
