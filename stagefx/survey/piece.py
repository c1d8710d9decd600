"""One piece of music through a stage's level, slope and headroom analysis."""

from __future__ import annotations

import math
import os
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import numpy as np

from stagefx.circuit.knob import ASSUMED_PROGRAMME_DB
from stagefx.dsp.levels import AWeightedMeter
from stagefx.dsp.true_peak import TruePeakMeter
from stagefx.effects.kind import Place
from stagefx.effects.limits.limiter import Limiting
from stagefx.errors import ComparisonError, StagefxError
from stagefx.io.files import AudioReader, open_audio
from stagefx.render.chain import BLOCK_FRAMES, Chain, Passage
from stagefx.render.preparation import Played
from stagefx.render.rendering import strain_of
from stagefx.survey.asked import Asked, clips_from_knob, ready
from stagefx.survey.collection import Piece
from stagefx.survey.row import Hearing, Row, Strain
from stagefx.survey.slope import SlopeWatch
from stagefx.units import decibels

CHANGED = "it changed while it was read; survey it again once it is whole"


def survey_piece(piece: Piece, asked: Asked) -> Row:
    """What one piece of music does to a stage.

    Up to the amplifier's limits the effects are those of a render, so that headroom, clipped and
    slewing share are the very ones that a render reports.  Slopes are worked out more finely.
    """
    base = Row(piece.name, piece.size_bytes, piece.modified_ns)
    if piece.error is not None:
        return replace(base, error=piece.error)
    place = Path(piece.place)
    try:
        row = _measured(base, place, asked)
        state = place.stat()
    except (StagefxError, OSError) as error:
        return replace(base, error=_as_told(error, piece))
    if (state.st_size, state.st_mtime_ns) != (piece.size_bytes, piece.modified_ns):
        return replace(base, error=f"{piece.name}: {CHANGED}")
    return row


def _as_told(error: BaseException, piece: Piece) -> str:
    """What went wrong, in one line that does not depend on where the folder lies."""
    said = str(error) if isinstance(error, StagefxError) else f"{piece.name}: {error}"
    return " ".join(said.replace(piece.place, piece.name).split())


def _measured(row: Row, place: Path, asked: Asked) -> Row:
    with open_audio(place) as reader:
        reader.keep()
        rate_hz, channels = reader.format.rate_hz, reader.format.channels
        level, peak = AWeightedMeter(rate_hz, channels), TruePeakMeter(rate_hz, channels)
        for block in reader.blocks(BLOCK_FRAMES):
            level.add(block)
            peak.add(block)
        programme_db = level.level_db - decibels(channels) / 2.0
        if not np.isfinite(programme_db):
            programme_db = ASSUMED_PROGRAMME_DB
        fixed = ready(asked.fixed_stage)
        settings = [fixed]
        if asked.listening_stage is not None:
            loud_db = asked.listening_level_db
            settings.append(
                ready(asked.listening_stage, programme_db=programme_db, listening_level_db=loud_db)
            )
        strains = _strains(settings, reader)
    chosen = strains[-1] if asked.by_listening else strains[0]
    headroom_db = strains[0].headroom_db
    row = replace(
        row,
        duration_s=reader.format.duration_s,
        loudness_lufs=level.loudness.integrated_lufs,
        true_peak_dbtp=float(peak.peak_dbtp.max()),
        asked=chosen,
        fixed=strains[0],
        listening=strains[1] if len(strains) > 1 else None,
        clips_from_knob=None if headroom_db is None else clips_from_knob(fixed, headroom_db),
        remark=settings[-1].knob.remark if asked.by_listening else "",
    )
    return _heard(row, place, asked) if asked.full else row


def _strains(settings: list[Played], reader: AudioReader) -> list[Strain]:
    """How hard the amplifier is driven at each setting, the music being read once for all."""
    rate_hz, channels = reader.format.rate_hz, reader.format.channels
    with ExitStack() as opened:
        watches = [SlopeWatch() for _ in settings]
        chains = [
            opened.enter_context(_to_the_limits(played, watch, rate_hz, channels))
            for played, watch in zip(settings, watches, strict=True)
        ]
        passages = [Passage(chain) for chain in chains if settings[0].stage.amplifier is not None]
        for block in reader.blocks(BLOCK_FRAMES) if passages else ():
            for passage in passages:
                passage.put(block)
        for passage in passages:
            passage.finish()
        return [
            _strain(played, chain, watch, reader)
            for played, chain, watch in zip(settings, chains, watches, strict=True)
        ]


def _to_the_limits(played: Played, watch: SlopeWatch, rate_hz: int, channels: int) -> Chain:
    """The effects of a render up to the amplifier's limits, slopes watched before these."""
    pieces = played.pieces(rate_hz)
    before = [effect for place, effect in pieces if place < Place.LIMITS]
    limits = [
        effect
        for place, effect in pieces
        if place == Place.LIMITS or (place > Place.LIMITS and isinstance(effect, Limiting))
    ]
    return Chain(
        [*before, watch, *limits],
        rate_hz,
        channels,
        full_scale_v=played.full_scale_v,
        keep=played.keep,
        threads=1,
    )


def _strain(played: Played, chain: Chain, watch: SlopeWatch, reader: AudioReader) -> Strain:
    rate_hz, frames = reader.format.rate_hz, reader.format.frames
    found, position = strain_of(played, chain, rate_hz, frames), played.knob.position
    if found is None:
        return Strain(position, None, None, 0.0, 0.0, None, None, None)
    slopes = np.sort(watch.meter.slopes * found.unit_v, axis=1) * rate_hz  # fall, rise
    fall, rise = -float(slopes[:, 0].min()), float(slopes[:, 1].max())
    left = found.limits.left()
    used = max(rise / left.slew_rise_v_per_s, fall / left.slew_fall_v_per_s)
    steepest = max(rise, fall)
    return Strain(
        knob_position=position,
        output_peak_v=max(found.peak_v),
        headroom_db=min(found.headroom_db),
        clipped_share=max(found.shares("clipped_frames")),
        slewing_share=max(found.shares("slewing_frames")),
        slope_peak_v_per_us=1e-6 * steepest,
        slope_sine_hz=steepest / (2.0 * math.pi * abs(found.unit_v)),
        slew_margin=1.0 / used if used > 0.0 else math.inf,
    )


def _heard(row: Row, place: Path, asked: Asked) -> Row:
    """The same with what the ear makes of it, the stage against a wire."""
    from stagefx.audition.shortcuts import compare_stages
    from stagefx.circuit.description.files import load_stage

    try:
        compared = compare_stages(
            load_stage("wire"), asked.stage, place, listening_level_db=asked.listening_level_db
        )
    except ComparisonError as error:  # too short, say: the levels hold all the same
        told = str(error).replace(os.fspath(place), row.file)
        return replace(row, remark=f"{row.remark} Not judged by ear: {told}".strip())
    heard, verdict = compared.heard, compared.verdict
    found = Hearing(
        verdict.grade.value,
        verdict.flips_at.row,
        heard.pair.detection_probability,
        heard.pair.noise_to_mask_db,
        heard.remainder.noise_to_mask_db,
        tuple(verdict.not_judged),
    )
    return replace(row, hearing=found)
