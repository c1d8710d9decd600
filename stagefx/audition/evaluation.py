"""From a difference to its audibility table and its verdict, whatever the difference came from."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from stagefx.audition.comparison import Comparison
from stagefx.difference.captured.gap_noise import GapNoise
from stagefx.difference.captured.recordings import Captured
from stagefx.difference.decomposition import Difference
from stagefx.difference.linear.powers import HIGHEST_HZ as ABOVE_HEARING_HZ
from stagefx.errors import ComparisonError
from stagefx.hearing.audibility import AudibilityRow, with_floor
from stagefx.hearing.ear_model import Heard, listen
from stagefx.hearing.grades import Grade
from stagefx.hearing.level_at_ear import USUAL_ROOM_DBA, LevelAtEar
from stagefx.hearing.rows.close_listening import listen_closely
from stagefx.hearing.rows.difference import build_audibility
from stagefx.hearing.rows.edits import DIRECT, findings
from stagefx.hearing.rows.splices import with_splices
from stagefx.hearing.verdict import QUIET_ROOM_DBA, Basis, Conditions, LevelBy, pass_verdict
from stagefx.io.recording import Recording
from stagefx.render.report import RenderReport

Rows = Callable[[float | None], tuple[AudibilityRow, ...]]
"""From a room's noise, dBA, to rows known from elsewhere than the pair's audio."""


@dataclass(frozen=True)
class Told:
    """What is known of two versions beside their audio.

    `rows` take the place of the table's own; `floors` are, by a row's name, the least that an
    instrument could have found; `room_dba` is None where no room hides anything.
    """

    music: str
    basis: Basis = "calculated"
    room_dba: float | None = USUAL_ROOM_DBA
    renders: tuple[RenderReport, ...] = ()
    rows: Rows | None = None
    gap: GapNoise | None = None
    captured: Captured | None = None
    floors: Mapping[str, float] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()


Hear = Callable[[tuple[Recording, Recording], Difference, float, float, float | None], Heard]
"""`hear`, or what finds again what it found."""


def hear(
    pair: tuple[Recording, Recording],
    difference: Difference,
    full_scale_spl_db: float,
    matched_db: float,
    room_dba: float | None,
) -> Heard:
    """What an ear finds between two versions, places of edits heard as edits."""
    heard = listen(
        *pair, difference,
        full_scale_spl_db=full_scale_spl_db, matched_db=matched_db, room_dba=room_dba,
    )  # fmt: skip
    events = with_splices(
        heard.events, *pair, difference, full_scale_spl_db=full_scale_spl_db, room_dba=room_dba
    )
    return replace(heard, events=events)


def judged(
    pair: tuple[Recording, Recording],
    difference: Difference,
    ear: LevelAtEar,
    level_by: LevelBy,
    told: Told,
    hear: Hear = hear,
) -> Comparison:
    """Listen to two versions, fill the audibility table, and pass the verdict."""
    matched_db = 0.0 if told.renders else level_matched_db(difference, level_by)
    spl_db = ear.full_scale_spl_db
    heard = hear(pair, difference, spl_db, matched_db, told.room_dba)

    def audibility_in(room_dba: float | None, heard: Heard) -> tuple[AudibilityRow, ...]:
        audibility = build_audibility(
            difference,
            full_scale_spl_db=spl_db,
            room_dba=room_dba,
            heard=heard,
            matched_db=matched_db,
            rows=told.rows(room_dba) if told.rows else (),
        )
        return tuple(
            with_floor(row, told.floors[row.name]) if row.name in told.floors else row
            for row in audibility
        )

    audibility = audibility_in(told.room_dba, heard)
    conditions = Conditions(
        basis=told.basis,
        listening_level_db=ear.listening_level_db,
        music=told.music,
        level_by=level_by,
        change_db=next((row.value for row in audibility if row.name == "level"), None) or 0.0,
        strained=_strained(told.renders),
        remainder_db=difference.remainder_db,
        room_dba=told.room_dba,
        named=() if told.captured else _named(difference, audibility, told),
    )
    verdict = pass_verdict(audibility, conditions)
    if verdict.grade.rank < Grade.WILL.rank and (told.room_dba or 0.0) > QUIET_ROOM_DBA:
        quieter = replace(
            heard,
            pair=listen_closely(
                *pair, difference,
                full_scale_spl_db=spl_db, matched_db=matched_db, room_dba=QUIET_ROOM_DBA,
                worst_s=heard.pair.worst_s,
            ),
        )  # fmt: skip
        there = pass_verdict(audibility_in(QUIET_ROOM_DBA, quieter), conditions).grade
        verdict = pass_verdict(audibility, replace(conditions, in_quieter_room=there))
    remarks = [*told.remarks, *ear.remarks, *difference.alignment.remarks]
    remarks += [remark for report in told.renders for remark in report.remarks]
    return Comparison(
        difference=difference,
        level_at_ear=ear,
        heard=heard,
        audibility=audibility,
        verdict=verdict,
        renders=told.renders,
        remarks=tuple(dict.fromkeys(remarks)),
        captured=told.captured,
        gap=told.gap,
    )


def _named(
    difference: Difference, audibility: Sequence[AudibilityRow], told: Told
) -> tuple[str, ...]:
    """What was found and no row says: edits that are not graded, and what lies above hearing."""
    over = {
        row.name for row in audibility if row.grade is not None and row.grade.rank >= Grade.MAY.rank
    }
    said = " ".join(row.sentence for row in audibility if row.name in over)
    # of stages direct voltage is known from the circuit, and said beside the verdict
    edits = [edit for edit in difference.edits if not (told.renders and edit.kind == DIRECT)]
    named = [one for one in findings(edits, rate_hz=difference.rate_hz) if one not in said]
    above_db = difference.above_hearing_dbfs
    if above_db is not None:
        named.append(
            f"Above {ABOVE_HEARING_HZ / 1e3:g} kHz, where hearing ends, one version has "
            f"{above_db:.0f} dBFS that the other has not; that is not judged."
        )
    return tuple(named)


def level_matched_db(difference: Difference, level_by: LevelBy) -> float:
    """What a level match takes away of the level between two files."""
    if level_by == "nothing":
        return 0.0
    by_loudness = difference.loudness.difference_db
    if level_by == "loudness" and by_loudness is not None:
        return by_loudness
    return difference.alignment.gain_db


def name_of(recording: Recording) -> str:
    """A recording's name without its folder."""
    return Path(recording.place).name


def frames_of(first: Recording, passage: tuple[float, float] | None) -> tuple[int, int | None]:
    """A passage in frames."""
    if passage is None:
        return 0, None
    made = first.format
    start, stop = (round(second * made.rate_hz) for second in passage)
    if not 0 <= start < stop <= made.frames:
        raise ComparisonError(
            f"{first.place} has no passage from {passage[0]:g} s to {passage[1]:g} s; give two "
            f"times in order, between 0 and {made.frames / made.rate_hz:.6g} s"
        )
    return start, stop


def _strained(renders: tuple[RenderReport, ...]) -> tuple[str, ...]:
    """Where a stage clipped or slewed, in words."""
    said = []
    for which, report in zip(("first", "second"), renders, strict=False):
        for what, frames in (("clips", report.clipped_frames), ("slews", report.slewing_frames)):
            if any(frames):
                share = 100.0 * max(frames) / max(report.frames, 1)
                amount = f"{share:.2g} %" if share >= 0.01 else "less than 0.01 %"
                said.append(f"the {which} stage {what} in {amount} of the music")
    return tuple(said)
