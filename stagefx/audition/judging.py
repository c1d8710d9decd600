"""From what was measured of two versions to a verdict: of stages, of files."""

from __future__ import annotations

from dataclasses import dataclass, replace

from stagefx.audition.comparison import Comparison
from stagefx.audition.evaluation import Hear, Told, judged, level_matched_db
from stagefx.audition.versions import StageVersion
from stagefx.audition.wire import wire_claim
from stagefx.difference.captured.gap_noise import GapNoise
from stagefx.difference.decomposition import Difference
from stagefx.hearing.audibility import AudibilityRow, judged_row
from stagefx.hearing.level_at_ear import LevelAtEar
from stagefx.hearing.rows.dc import DIRECT_VOLTAGE, direct_voltage
from stagefx.hearing.rows.gaps import gap_rows
from stagefx.hearing.rows.masked_hum import masked_hum_row
from stagefx.hearing.rows.noise import dither_over_db, noise_change
from stagefx.hearing.rows.stage_noise import noise_at_seat
from stagefx.hearing.rows.stages import stage_rows
from stagefx.hearing.rows.worst_knob import worst_knob
from stagefx.hearing.verdict import LevelBy
from stagefx.io.recording import Recording
from stagefx.units import decibels


@dataclass(frozen=True)
class Measured:
    """What a verdict rests on, and how it is to be passed."""

    pair: tuple[Recording, Recording]
    difference: Difference
    ear: LevelAtEar
    level_by: LevelBy
    room_dba: float | None
    hear: Hear

    def judged(self, told: Told) -> Comparison:
        """With what is known beside the audio."""
        return judged(self.pair, self.difference, self.ear, self.level_by, told, self.hear)


def judge_stages(
    measured: Measured, stages: tuple[StageVersion, StageVersion], *, music: str
) -> Comparison:
    """Judge music through two stages, their own noise, hum and worst knob by the paper."""
    first, second = stages
    circuits, renders = (first.circuit, second.circuit), (first.report, second.report)
    direct = direct_voltage(circuits)
    spl_db, rate_hz = measured.ear.full_scale_spl_db, measured.pair[0].format.rate_hz
    noise = noise_at_seat(*circuits, full_scale_spl_db=spl_db)

    def rows(room_dba: float | None) -> tuple[AudibilityRow, ...]:
        change = noise_change(*noise, room_noise_dba=room_dba)
        floor_db = dither_over_db(spl_db, rate_hz=rate_hz, room_noise_dba=room_dba)
        own = judged_row("noise", change.over_db, floor=floor_db, at_hz=change.hz)
        return own, *stage_rows(*circuits, renders, full_scale_spl_db=spl_db, room_dba=room_dba)

    told = Told(
        music=f"{music} through '{first.name}' against '{second.name}'",
        room_dba=measured.room_dba,
        renders=renders,
        rows=rows,
        remarks=direct.remarks,
    )
    found = measured.judged(told)
    claim = wire_claim(first.stage, second.stage, found.audibility, found.verdict)
    unjudged = () if direct.judged else (DIRECT_VOLTAGE,)
    turned = worst_knob(
        *circuits, full_scale_spl_db=spl_db, room_noise_dba=measured.room_dba,
        grade_in_use=found.verdict.grade,
    )  # fmt: skip
    return replace(
        found,
        remarks=(*claim, *found.remarks),
        verdict=replace(found.verdict, not_judged=(*found.verdict.not_judged, *unjudged)),
        worst_knob=turned,
    )


def judge_files(measured: Measured, gap: GapNoise, names: tuple[str, str]) -> Comparison:
    """Judge two recordings, noise and hum as far as silences and quiet moments tell them."""
    first, made = measured.pair[0], measured.pair[0].format
    spl_db, difference = measured.ear.full_scale_spl_db, measured.difference

    def rows(room_dba: float | None) -> tuple[AudibilityRow, ...]:
        floor_db = dither_over_db(spl_db, rate_hz=made.rate_hz, room_noise_dba=room_dba)
        noise, hum = gap_rows(
            gap,
            full_scale_spl_db=spl_db,
            channels=made.channels,
            room_dba=room_dba,
            matched_db=level_matched_db(difference, measured.level_by),
            noise_floor_db=floor_db + decibels(made.channels) / 2.0,
        )
        if hum.value is not None:
            return noise, hum
        masked = masked_hum_row(first, difference, full_scale_spl_db=spl_db, room_dba=room_dba)
        return noise, masked or hum

    told = Told(
        music=f"{names[0]} against {names[1]}", room_dba=measured.room_dba, rows=rows, gap=gap
    )
    return measured.judged(told)
