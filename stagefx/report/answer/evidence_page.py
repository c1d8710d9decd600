"""The evidence page put together: letter, chart, pictures, players, method and numbers."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from stagefx.circuit.description.files import stage_as_toml
from stagefx.figures.cautions import CAUTIONS
from stagefx.hearing.wording import quantity
from stagefx.report.answer.pictures import pictures_of
from stagefx.report.page.shell import render_page
from stagefx.report.plots.hearing.distance_rows import WIDE, distance_rows, heard_from_x
from stagefx.report.text.names import NAMES
from stagefx.report.text.numbers import amount
from stagefx.report.text.sentences import shortened
from stagefx.report.text.side_by_side import side_by_side

if TYPE_CHECKING:
    from stagefx.report.answer.results import Answer


def page_of(answer: Answer) -> str:
    """One HTML file that shows an answer; its own policy forbids it to ask for anything."""
    from markupsafe import Markup

    pictures = [(picture, Markup(picture.svg)) for picture in pictures_of(answer)]
    return render_page(
        "answer/evidence_page",
        script="answer/players",
        styles=("answer/evidence_page",),
        carried=_carried(answer),
        question=answer.asked.question,
        letter=answer.letter,
        follow_up=answer.follow_up,
        pictures=pictures,
        rows=distance_rows(answer.piece.comparison),
        line_x=heard_from_x(),
        wide=WIDE,
        piece=answer.piece,
        caution=CAUTIONS["hearing"],
        listening_caution=CAUTIONS["listening"],
        names=_names(answer),
        command=answer.command,
        level_by=answer.level_by,
        **_method(answer),
    )  # fmt: skip


def _names(answer: Answer) -> tuple[str, ...]:
    named = answer.asked.stages or answer.asked.files
    return tuple(shortened(one.name, most=60) for one in named)


def _carried(answer: Answer) -> dict[str, bytes]:
    played = answer.piece.excerpts
    both = {"baseline": played.baseline, "change": played.change}
    return both | ({"difference": played.difference} if played.difference else {})


def _method(answer: Answer) -> dict[str, Any]:
    """What folds out: settings, limits with their sources, figures with their formulas, files."""
    plain = answer.as_json()
    found = answer.piece.comparison
    return {
        "settings": {
            "listening level": f"{answer.asked.question.listening_level:g} dB",
            "levels matched by": answer.level_by,
            "seed": str(answer.seed),
            "music": ", ".join(piece.music for piece in answer.pieces),
            "passage": f"{answer.piece.passage.start_s:.3f} to {answer.piece.passage.stop_s:.3f} s",
            "why this passage": answer.piece.passage.why,
            "played here at": f"{answer.piece.excerpts.rate_hz} Hz, 16 bits, FLAC",
            "both turned down by": f"{answer.piece.excerpts.turned_down_db:.2f} dB",
        },
        "limits": [
            (
                row.name,
                "not judged" if row.value is None else quantity(row.value, row.unit),
                quantity(row.may, row.unit),
                quantity(row.will, row.unit),
                row.source,
                row.remark,
            )
            for row in found.audibility
        ],
        "figures": list(_figures(answer)),
        "stages": [
            (shortened(stage.name, most=60), stage_as_toml(stage)) for stage in answer.asked.stages
        ],
        "inputs": plain["inputs"],
        "versions": plain["versions"],
        "remarks": list(found.remarks),
        "nulls": [
            (name.replace("_", " "), f"{value:.1f} dB" if isinstance(value, float) else
             value["reason"])
            for name, value in plain["pieces"][answer.decides]["comparison"]["null_db"].items()
        ],
        "others": [
            (piece.music, str(piece.comparison.verdict.grade))
            for n, piece in enumerate(answer.pieces)
            if n != answer.decides
        ],
        "blind": None if answer.blind is None else answer.blind.sentence,
    }  # fmt: skip


def _figures(answer: Answer) -> Iterator[tuple[str, str, str, str, str]]:
    if len(answer.figures) != 2:
        return
    first, second = answer.figures
    for row in side_by_side(first, second):
        figure = first.figures.get(row.key) or second.figures[row.key]
        both = ["none" if value is None else amount(value, row.unit)
                for value in (row.first, row.second)]  # fmt: skip
        yield NAMES.get(row.key, row.key), both[0], both[1], row.change, figure.formula
