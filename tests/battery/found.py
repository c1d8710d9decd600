"""What a comparison said, read from its JSON: the only place that knows how the keys are called."""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from stagefx.audition.comparison import Comparison
from stagefx.audition.shortcuts import compare_files, compare_recordings
from stagefx.errors import ComparisonError
from stagefx.io.recording import HeldAudio
from tests.battery.at_ear import ROOM_DBA

GRADES = ("below what can be measured", "should not be heard", "may be heard", "will be heard")
SHORT = ("below", "should", "may", "will")
MAY = 2
EAR_MODEL = "ear model"
Matching = Literal["gain", "loudness", "nothing"]


@dataclass(frozen=True)
class Row:
    """One kind of difference; rank 0 to 3, or None where it was not judged."""

    value: float | None
    rank: int | None

    @property
    def lit(self) -> bool:
        return self.rank is not None and self.rank >= MAY


@dataclass(frozen=True)
class Edit:
    """One finding of what was taken away, added or exchanged."""

    kind: str
    at_s: float | None
    length_s: float | None


@dataclass(frozen=True)
class Found:
    """One comparison; rank None where it was refused."""

    rank: int | None
    probability: float = math.nan
    rows: Mapping[str, Row] = field(default_factory=dict)
    edits: tuple[Edit, ...] = ()
    events: int | None = None
    events_s: tuple[float, ...] = ()
    balance_db: float | None = None
    said: str = ""
    crashed: bool = False

    @property
    def grade(self) -> str:
        if self.crashed:
            return "crashed"
        return "refused" if self.rank is None else SHORT[self.rank]

    @property
    def lit(self) -> frozenset[str]:
        """The rows that may or will be heard, the ear model's left out."""
        return frozenset(name for name, row in self.rows.items() if row.lit) - {EAR_MODEL}


def number(value: Any) -> float | None:
    """A number of the JSON; one that is missing stands there as a table with its reason."""
    return float(value) if isinstance(value, int | float) else None


def rank_of(grade: Any) -> int | None:
    return GRADES.index(grade) if isinstance(grade, str) else None


def read(result: Mapping[str, Any]) -> Found:
    """A comparison's JSON."""
    rows = result.get("audibility") or result["audibility"]
    events = result.get("events") or {}
    return Found(
        rank=rank_of(result["verdict"]["grade"]),
        probability=number(result["hearing"]["detection_probability"]) or 0.0,
        rows={row["name"]: Row(number(row["value"]), rank_of(row["grade"])) for row in rows},
        edits=tuple(
            Edit(edit["kind"], number(edit.get("at_s")), number(edit.get("length_s")))
            for edit in result.get("edits", ())
        ),
        events=events.get("count"),
        events_s=tuple(float(at_s) for at_s in events.get("at_s", ())),
        balance_db=number(result.get("balance_db")),
        said=" ".join(
            [result["verdict"]["sentence"], *result["remarks"], *(row["remark"] for row in rows)]
        ),
    )


def compare(
    first: HeldAudio | Path,
    second: HeldAudio | Path,
    *,
    listening_db: float,
    level_by: Matching = "nothing",
) -> Found:
    """Two recordings, or two files, compared in a quiet room, or why they were not."""
    comparing: Callable[..., Comparison]
    comparing = compare_files if isinstance(first, Path) else compare_recordings
    settings: dict[str, Any] = {"listening_level_db": listening_db, "level_by": level_by}
    if "room_dba" in inspect.signature(comparing).parameters:
        settings["room_dba"] = ROOM_DBA
    try:
        return read(comparing(first, second, **settings).as_json())
    except ComparisonError as error:
        return Found(None, said=str(error))
    except Exception as error:  # noqa: BLE001 -- a defect of one pair ends no run of a thousand
        return Found(None, crashed=True, said=f"{type(error).__name__}: {error}")
