"""An answer as plain values, for JSON and for the tables beside the page."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

from stagefx.circuit.description.files import stage_tables
from stagefx.hearing.grades import Grade
from stagefx.report.text.margins import distance_db, margin_words, nearest_first
from stagefx.report.text.side_by_side import side_by_side

if TYPE_CHECKING:
    from stagefx.report.answer.answer import Answer, Piece

LIBRARIES = ("stagefx", "numpy", "scipy", "soxr", "matplotlib")


def command_of(answer: Answer) -> str:
    """The command that makes an answer again.

    Parameters
    ----------
    answer : Answer
        Any answer.

    Returns
    -------
    str
        To be typed in the question file's folder.

    Examples
    --------
    >>> from stagefx.report.answer.example import example_answer
    >>> command_of(example_answer())
    'stagefx answer faster-device.toml FOLDER'
    """
    import shlex

    given = answer.follow_up.given if answer.follow_up is not None else ()
    words = ["stagefx", "answer", answer.asked.name, "FOLDER"]
    words += [word for one in given for word in ("--with", one)]
    words += ["--seed", str(answer.seed)] if answer.seed else []
    return shlex.join(words)


def answer_as_json(answer: Answer) -> dict[str, Any]:
    """The keys of ``answer.json``.

    Parameters
    ----------
    answer : Answer
        What was found.

    Returns
    -------
    dict
        Plain values; the numbers of sentences point into it.

    Examples
    --------
    >>> from stagefx.report.answer.example import example_answer
    >>> answer_as_json(example_answer())["grade"]
    'should not be heard'
    """
    asked = answer.asked
    question = asked.question.model_dump(mode="json", exclude_none=True, exclude_defaults=True)
    plain: dict[str, Any] = {
        "question": question,
        "grade": str(answer.grade),
        "basis": answer.piece.comparison.verdict.basis,
        "letter": answer.letter.as_json(),
        "music": {"count": len(answer.pieces), "decides": answer.decides},
        "pieces": [_piece(piece) for piece in answer.pieces],
        "stages": [stage_tables(stage) for stage in asked.stages],
        "figures": [figures.as_json() for figures in answer.figures],
        "settings": {
            "listening_level_db": asked.question.listening_level,
            "level_by": answer.level_by,
            "seed": answer.seed,
        },
        "inputs": [{"file": name, "sha256": digest} for name, digest in answer.hashes],
        "versions": {name: version(name) for name in LIBRARIES},
        "command": command_of(answer),
    }
    if answer.follow_up is not None:
        plain["follow_up"] = {
            "given": list(answer.follow_up.given),
            "before": str(answer.follow_up.before),
            "after": str(answer.follow_up.after),
            "moves": answer.follow_up.moves,
            "sentence": answer.follow_up.sentence,
        }
    if answer.blind is not None:
        plain["blind"] = answer.blind.as_json()
    return plain


def _piece(piece: Piece) -> dict[str, Any]:
    rows = piece.comparison.ledger
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
    from stagefx.report.text.context import FAR_DB

    rows = nearest_first(piece.comparison.ledger)[1:]
    return sum(distance_db(row) >= FAR_DB and row.grade is not Grade.BELOW for row in rows)


def as_json_text(answer: Answer) -> str:
    """The text of ``answer.json``.

    Parameters
    ----------
    answer : Answer
        What was found.

    Returns
    -------
    str
        Indented; a number that is not finite becomes a null with its reason.

    Examples
    --------
    >>> from stagefx.report.answer.example import example_answer
    >>> as_json_text(example_answer()).count("NaN")
    0
    """
    plain = _finite(answer_as_json(answer))
    return json.dumps(plain, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    if isinstance(value, float) and value - value != 0.0:
        return {"value": None, "reason": "infinite" if value > 0.0 else "nothing is left"}
    return value


def tables_of(answer: Answer) -> dict[str, str]:
    """The tables beside the page.

    Parameters
    ----------
    answer : Answer
        What was found.

    Returns
    -------
    dict of str to str
        From file name to CSV text.

    Examples
    --------
    >>> from stagefx.report.answer.example import example_answer
    >>> list(tables_of(example_answer()))
    ['ledger.csv', 'response.csv', 'figures.csv']
    """
    found = answer.piece.comparison
    judged = nearest_first(found.ledger)
    rest = [row for row in found.ledger if row.grade is None]
    tables = {
        "ledger.csv": _csv(
            ("name", "value", "unit", "may_be_heard_from", "will_be_heard_from", "margin_db",
             "grade", "margin", "source"),
            (
                (row.name, row.value, row.unit, row.may, row.will, row.margin_db, row.grade,
                 margin_words(row) or row.remark, row.source)
                for row in (*judged, *rest)
            ),
        ),
        "response.csv": _csv(
            ("hz", "change_db", "floor_db"),
            ((band.hz, band.db, band.floor_db) for band in found.difference.response.bands),
        ),
    }  # fmt: skip
    if len(answer.figures) == 2:
        rows = side_by_side(*answer.figures)
        tables["figures.csv"] = _csv(
            ("figure", "unit", "baseline", "change", "difference", "why_it_matters"),
            ((row.key, row.unit, row.first, row.second, row.change, row.matters) for row in rows),
        )
    return tables


def _csv(head: tuple[str, ...], rows: Iterable[tuple[Any, ...]]) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(head)
    writer.writerows(rows)
    return text.getvalue()
