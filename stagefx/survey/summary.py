"""What a survey comes to: in how many pieces anything happens, and which are the worst."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from stagefx.survey.row import Row, Strain


@dataclass(frozen=True)
class Extremes:
    """What happened at one setting of the knob, over all pieces that could be read."""

    pieces: int
    clipping: int
    slewing: int
    either: int
    least_headroom_db: float | None
    least_headroom_file: str | None
    slope_peak_v_per_us: float | None
    slope_sine_hz: float | None
    slope_peak_file: str | None
    least_slew_margin: float | None


@dataclass(frozen=True)
class Summary:
    """A survey in a few numbers."""

    files: int
    unreadable: int
    duration_s: float
    links_passed_by: int
    asked: Extremes
    fixed: Extremes
    listening: Extremes | None
    grades: dict[str, int]

    def as_json(self) -> dict[str, Any]:
        """The summary as plain values."""
        plain = asdict(self)
        for name in ("asked", "fixed", "listening"):
            extremes = plain[name]
            if extremes is None:
                plain[name] = {"value": None, "reason": "the listening level is not known"}
                continue
            for key, value in extremes.items():
                if value is None and not key.endswith("_file"):
                    extremes[key] = {"value": None, "reason": "nothing limits it, or none was read"}
        return plain


def sum_up(rows: Sequence[Row], *, links_passed_by: int = 0) -> Summary:
    """Sum a survey up."""
    read = [row for row in rows if row.error is None]
    known = any(row.listening is not None for row in read)
    return Summary(
        files=len(rows),
        unreadable=len(rows) - len(read),
        duration_s=sum(row.duration_s for row in read),
        links_passed_by=links_passed_by,
        asked=_extremes(read, lambda row: row.asked),
        fixed=_extremes(read, lambda row: row.fixed),
        listening=_extremes(read, lambda row: row.listening) if known else None,
        grades=dict(sorted(Counter(row.hearing.grade for row in read if row.hearing).items())),
    )


def _extremes(rows: Sequence[Row], at: Callable[[Row], Strain | None]) -> Extremes:
    found = [(row.file, strain) for row in rows if (strain := at(row)) is not None]
    rooms = [(room, file) for file, s in found if (room := _finite(s.headroom_db)) is not None]
    margins = [margin for _, s in found if (margin := _finite(s.slew_margin)) is not None]
    steepest = max(found, default=None, key=lambda one: one[1].slope_peak_v_per_us or -1.0)
    if steepest is not None and steepest[1].slope_peak_v_per_us is None:
        steepest = None
    least = min(rooms, default=None)
    return Extremes(
        pieces=len(found),
        clipping=sum(s.clips for _, s in found),
        slewing=sum(s.slews for _, s in found),
        either=sum(s.clips or s.slews for _, s in found),
        least_headroom_db=least[0] if least else None,
        least_headroom_file=least[1] if least else None,
        slope_peak_v_per_us=steepest[1].slope_peak_v_per_us if steepest else None,
        slope_sine_hz=steepest[1].slope_sine_hz if steepest else None,
        slope_peak_file=steepest[0] if steepest else None,
        least_slew_margin=min(margins, default=None),
    )


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
