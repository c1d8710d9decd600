"""What two versions of a piece came to: the difference, the audibility table, the verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Any

from stagefx.difference.captured.gap_noise import GapNoise
from stagefx.difference.captured.recordings import Captured
from stagefx.difference.decomposition import Difference
from stagefx.difference.edits import Edit
from stagefx.difference.linear.response import Band
from stagefx.difference.nulls import NullDepths
from stagefx.dsp.dither import dither_floor_dbfs
from stagefx.hearing.audibility import NOT_MEASURED, AudibilityRow
from stagefx.hearing.ear_model import Heard
from stagefx.hearing.level_at_ear import LevelAtEar
from stagefx.hearing.rows.worst_knob import NOT_TURNED, WorstKnob
from stagefx.hearing.verdict import Verdict
from stagefx.io.tables import cell, html_table
from stagefx.render.report import RenderReport


@dataclass(frozen=True)
class Comparison:
    """What changed from a first version to a second, and whether it would be heard.

    Parameters
    ----------
    difference : Difference
        Level, balance, time, response, remainder.
    level_at_ear : LevelAtEar
        How loud full scale is at the seat.
    heard : Heard
        What the ear model makes of the difference.
    audibility : tuple of LedgerRow
        Every kind of difference, set against hearing.
    verdict : Verdict
        Grade, sentence, conditions, what would change it.
    renders : tuple of RenderReport
        Of the two stages; empty where audio files were compared.
    remarks : tuple of str
        What the reader has to know.
    captured : Captured or None
        The instrument's faults and floor, where recordings of a real stage were compared.
    gap : GapNoise or None
        Noise of both in the silences; None where stages were compared.
    worst_knob : WorstKnob
        The verdict at the worst position of a volume control, where it depends on it.
    """

    difference: Difference
    level_at_ear: LevelAtEar
    heard: Heard
    audibility: tuple[AudibilityRow, ...]
    verdict: Verdict
    renders: tuple[RenderReport, ...] = ()
    remarks: tuple[str, ...] = ()
    captured: Captured | None = None
    gap: GapNoise | None = None
    worst_knob: WorstKnob = NOT_TURNED

    def _repr_html_(self) -> str:
        """The comparison, as a notebook shows it."""
        return _as_html(self)

    def as_json(self) -> dict[str, Any]:
        """The comparison as plain values.

        Returns
        -------
        dict
            The keys of ``stagefx compare --json``; ``{"value": None, "reason": …}`` where there
            is no number.
        """
        return comparison_as_json(self) | {"verdict_at_worst_knob": self.worst_knob.as_json()}


def _as_html(found: Comparison) -> str:
    """The sentence, then the audibility table."""
    rows = [
        (
            row.name,
            cell(row.value, row.unit, without=row.remark or "not judged"),
            cell(row.may, row.unit),
            cell(row.margin_db, "dB"),
            "" if row.grade is None else row.grade.value,
        )
        for row in found.audibility
    ]
    return html_table(
        f"Grade: {found.verdict.grade.value}",
        rows,
        head=("difference", "size", "may be heard from", "to spare", "grade"),
        before=(found.verdict.sentence,),
        after=found.remarks,
    )


NOT_JUDGED = "not judged"


def number(value: float | None, reason: str = NOT_MEASURED) -> Any:
    """A number, or why there is none."""
    if value is not None and math.isfinite(value):
        return float(value)
    if value is not None:
        reason = "infinite" if value > 0.0 else "nothing is left"
    return {"value": None, "reason": reason}


def comparison_as_json(comparison: Comparison) -> dict[str, Any]:
    """The keys of ``stagefx compare --json``."""
    found = comparison.difference
    return {
        "alignment": {
            "delay_frames": found.alignment.delay_frames,
            "gain_db": found.alignment.gain_db,
            "polarity": found.alignment.polarity,
            "drift_ppm": number(found.alignment.drift_ppm),
        },
        "null_db": _nulls(found.null_db),
        "loudness": {
            "first_lufs": number(found.loudness.first_lufs, "too short or too quiet"),
            "second_lufs": number(found.loudness.second_lufs, "too short or too quiet"),
            "difference_db": number(found.loudness.difference_db, "too short or too quiet"),
        },
        "balance_db": number(found.balance_db, "only one channel sounds"),
        "remainder_db": number(found.remainder_db, "too short"),
        "response": _response(comparison),
        "edits": [_edit(edit) for edit in found.edits],
        "events": _events(comparison),
        "hearing": comparison.heard.as_json(),
        "level_at_ear": {
            "listening_level_db": comparison.level_at_ear.listening_level_db,
            "full_scale_spl_db": comparison.level_at_ear.full_scale_spl_db,
        },
        "audibility": [_row(row) for row in comparison.audibility],
        "floor": _floor(comparison),
        "verdict": _verdict(comparison),
        "remarks": list(comparison.remarks),
        **_beside(comparison),
    }  # fmt: skip


def _edit(edit: Edit) -> dict[str, Any]:
    return {
        "kind": edit.kind,
        "at_s": edit.at_s,
        "length_s": edit.length_s,
        "level_db": number(edit.level_db, "silence" if edit.silent else NOT_MEASURED),
        "channel": edit.channel,
        "amount": edit.amount,
    }


def _events(comparison: Comparison) -> dict[str, Any]:
    events = comparison.heard.events
    return {
        "count": events.count,
        "worst_db": number(events.worst_db, events.reason or NOT_MEASURED),
        "at_s": list(events.at_s),
    }


def _floor(comparison: Comparison) -> dict[str, Any]:
    """What limits the finest that could be found: 24-bit dither, or the recorder."""
    captured, found = comparison.captured, comparison.difference
    if captured is not None and captured.floor is not None:
        return {"what": captured.floor.basis, **captured.floor.as_json()}
    return {
        "what": "24-bit dither",
        "dbfs": dither_floor_dbfs(24),
        "level_db": found.floor_db,
    }


def _beside(comparison: Comparison) -> dict[str, Any]:
    """What recordings tell beside the music: faults, and noise in the silences."""
    beside: dict[str, Any] = {}
    if comparison.captured is not None:
        beside["faults"] = [fault.as_json() for fault in comparison.captured.faults]
    if comparison.gap is not None:
        beside["gap_noise"] = comparison.gap.as_json()
    return beside


def _nulls(depths: NullDepths) -> dict[str, Any]:
    return {
        depth.name: number(getattr(depths, depth.name), "too short") for depth in fields(depths)
    }


def _response(comparison: Comparison) -> dict[str, Any]:
    worst = comparison.difference.response.worst()
    return {
        "deviation_db": number(None if worst is None else abs(worst.db)),
        "at_hz": number(None if worst is None else worst.hz),
        "bands": [_band(band) for band in comparison.difference.response.bands],
    }


def _band(band: Band) -> dict[str, Any]:
    return {"hz": band.hz, "db": number(band.db)}


def _row(row: AudibilityRow) -> dict[str, Any]:
    why = row.remark or NOT_MEASURED
    return {
        "name": row.name,
        "value": number(row.value, why),
        "unit": row.unit,
        "may": row.may,
        "will": row.will,
        "margin_db": number(row.margin_db, NOT_JUDGED),
        "grade": {"value": None, "reason": NOT_JUDGED} if row.grade is None else str(row.grade),
        "source": row.source,
        "floor": number(row.floor),
        "at_hz": number(row.at_hz, "not a matter of frequency"),
        "direction": row.direction,
        "remark": row.remark,
        "sentence": row.sentence,
    }


def _verdict(comparison: Comparison) -> dict[str, Any]:
    verdict = comparison.verdict
    flip = verdict.flips_at
    return {
        "grade": str(verdict.grade),
        "sentence": verdict.sentence,
        "basis": verdict.basis,
        "flips_at": {
            "row": flip.row,
            "value": number(flip.value, NOT_JUDGED),
            "limit": number(flip.limit, NOT_JUDGED),
            "unit": flip.unit,
            "sentence": flip.sentence,
        },
        "conditions": list(verdict.conditions),
        "not_judged": list(verdict.not_judged),
        "near_limit": verdict.near_limit,
        "quieter_room": verdict.quieter_room,
        "named": list(verdict.named),
    }
