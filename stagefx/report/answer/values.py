"""An answer as the text of its JSON, and the tables beside the page."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable
from typing import Any

from stagefx.report.answer.results import Answer
from stagefx.report.text.margins import margin_words, nearest_first
from stagefx.report.text.side_by_side import side_by_side


def as_json_text(answer: Answer) -> str:
    """The text of ``answer.json``."""
    plain = _finite(answer.as_json())
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
    """The tables beside the page."""
    found = answer.piece.comparison
    judged = nearest_first(found.audibility)
    rest = [row for row in found.audibility if row.grade is None]
    tables = {
        "audibility.csv": _csv(
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
