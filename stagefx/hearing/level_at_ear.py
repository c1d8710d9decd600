"""How loud the music is at the ear, which decides what of a difference can be heard."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from stagefx.circuit.description.stage import Stage
from stagefx.dsp.levels import AWeightedMeter
from stagefx.errors import ComparisonError
from stagefx.io.prefetch import ahead
from stagefx.io.recording import Recording

USUAL_LISTENING_DB = 85.0
"""A-weighted; also the usual limit for eight hours a day (NIOSH, criteria document 98-126)."""
USUAL_ROOM_DBA = 30.0
"""A quiet living room at night (common practice)."""
AS_DESCRIBED: Literal["as described"] = "as described"
Room = float | Literal["as described"] | None
"""Noise at the seat, dBA; None for a room that hides nothing."""
LOUD_LISTENING_DB, HIGHEST_LISTENING_DB = 100.0, 120.0
UNKNOWN_FULL_SCALE_DB = 92.0
"""ITU-R BS.1387: a full-scale sine's level where the playback level is unknown."""
HIGHEST_FULL_SCALE_DB = 120.0

_BLOCK_FRAMES = 1 << 16


@dataclass(frozen=True)
class LevelAtEar:
    """How loud full scale is at the seat."""

    listening_level_db: float
    programme_db: float | None
    full_scale_spl_db: float
    remarks: tuple[str, ...] = ()


def level_at_ear(
    programme_db: float, *, listening_level_db: float = USUAL_LISTENING_DB
) -> LevelAtEar:
    """How loud full scale is, for music of a level played at another.

    ``SPL of a full-scale sine = listening level - programme level``, at most 120 dB

    ITU-R BS.1387: 92 dB where nothing is known.
    """
    remarks = _remarks_on(listening_level_db)
    if not math.isfinite(programme_db):
        remarks.append(
            f"the first version is too quiet or too short to set a level by; a full-scale sine "
            f"is taken as {UNKNOWN_FULL_SCALE_DB:g} dB SPL"
        )
        return LevelAtEar(listening_level_db, None, UNKNOWN_FULL_SCALE_DB, tuple(remarks))
    wanted = listening_level_db - programme_db
    if wanted > HIGHEST_FULL_SCALE_DB:
        remarks.append(
            f"to play this music at {listening_level_db:g} dB, full scale would be "
            f"{wanted:.0f} dB SPL; {HIGHEST_FULL_SCALE_DB:g} dB is taken"
        )
    full_scale = min(wanted, HIGHEST_FULL_SCALE_DB)
    return LevelAtEar(listening_level_db, programme_db, full_scale, tuple(remarks))


def level_of(recording: Recording, *, listening_level_db: float = USUAL_LISTENING_DB) -> LevelAtEar:
    """How loud full scale is while a recording plays at the listening level."""
    _remarks_on(listening_level_db)
    made = recording.format
    meter = AWeightedMeter(made.rate_hz, made.channels)
    starts = range(0, made.frames, _BLOCK_FRAMES)
    for block in ahead(
        recording.read(start, min(start + _BLOCK_FRAMES, made.frames)) for start in starts
    ):
        meter.add(block)
    return level_at_ear(meter.level_db, listening_level_db=listening_level_db)


def room_of(given: Room, *stages: Stage) -> float | None:
    """The room given, else the quietest that a listening chain describes, else a usual one; dBA."""
    if given != AS_DESCRIBED:
        return given
    chains = [stage.listening for stage in stages]
    described = [chain.room_noise.value for chain in chains if chain and chain.room_noise]
    return min(described, default=USUAL_ROOM_DBA)


def check_listening_level(listening_level_db: float) -> None:
    """Refuse a level that nobody listens at."""
    _remarks_on(listening_level_db)


def _remarks_on(listening_level_db: float) -> list[str]:
    if not 0.0 <= listening_level_db <= HIGHEST_LISTENING_DB:
        raise ComparisonError(
            f"a listening level of {listening_level_db:g} dB cannot be used; give 0 to "
            f"{HIGHEST_LISTENING_DB:g} dB (85 dB A-weighted is the usual limit for 8 hours a day)"
        )
    if listening_level_db > LOUD_LISTENING_DB:
        danger = f"{listening_level_db:g} dB is dangerous to hearing within minutes"
        return [f"{danger}; 85 dB A-weighted is the usual limit for 8 hours a day"]
    return []
