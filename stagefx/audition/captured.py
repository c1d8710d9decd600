"""Recordings of real stages compared: measured, with the instrument's own floor under every row."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing
from pathlib import Path

import numpy as np

from stagefx.audition.comparison import Comparison
from stagefx.audition.evaluation import Told, frames_of, judged, level_matched_db, name_of
from stagefx.audition.residual_file import residual_writer, write_residual
from stagefx.audition.steps import Steps
from stagefx.audition.versions import FileVersion
from stagefx.difference.captured.recordings import Captured, CaptureFloor, take_apart_captured
from stagefx.difference.decomposition import Difference
from stagefx.difference.edits import Edit
from stagefx.hearing.audibility import RANGES_HZ, AudibilityRow, unjudged_row
from stagefx.hearing.ear_model import listen
from stagefx.hearing.level_at_ear import USUAL_LISTENING_DB, USUAL_ROOM_DBA, level_of
from stagefx.hearing.rows.edits import ENDS, INSIDE
from stagefx.hearing.rows.gaps import gap_rows
from stagefx.hearing.rows.noise import dither_over_db, hiding_db, noise_change
from stagefx.hearing.thresholds import limits
from stagefx.hearing.verdict import LevelBy
from stagefx.hearing.wording import quantity
from stagefx.io.recording import Recording
from stagefx.units import decibels

NO_FLOOR = (
    "neither a repeat nor a loopback was given, so what the recorder itself changes is not known; "
    "record the first once more (--repeat), or the music through the recorder alone (--loopback)"
)

RECORDERS_OWN = "taken for the recorder's own, and corrected"

_SURELY = 5.0
"""A change of noise shows from so many standard deviations on: thirty bands, tapered segments."""
_TAKE_TO_TAKE_DB = 1.0
"""So much the noise-to-mask ratio of one instrument differs from take to take."""


def compare_captured(
    first: str | Path,
    second: str | Path,
    *,
    repeat: str | Path | None = None,
    loopback: str | Path | None = None,
    listening_level_db: float = USUAL_LISTENING_DB,
    level_by: LevelBy = "gain",
    room_dba: float | None = USUAL_ROOM_DBA,
    passage: tuple[float, float] | None = None,
    residual: str | Path | None = None,
    force: bool = False,
) -> Comparison:
    """Compare two recordings of real stages, and judge what the recorder did not do itself.

    The floor is what a repeat differs by from the first, else what the loopback does.  The ear
    model and the remainder are floored by listening to that pair.
    """
    with ExitStack() as opened:
        steps = opened.enter_context(closing(Steps()))
        one, other, again, alone = (
            None if place is None else opened.enter_context(FileVersion(place, steps).open())
            for place in (first, second, repeat, loopback)
        )
        assert one
        assert other
        start, stop = frames_of(one, passage)
        writer = residual_writer(one, residual, opened, force=force)
        ear = level_of(one, listening_level_db=listening_level_db)
        captured = take_apart_captured(
            one, other, repeat=again, loopback=alone, start=start, stop=stop
        )
        write_residual(writer, one, other, captured.difference)
        floors = floors_of(captured.floor)
        calm = again or alone
        if calm is not None and captured.between is not None:
            floors |= _heard_floors(
                one, calm, captured.between, level_by, ear.full_scale_spl_db, room_dba
            )
        matched_db = level_matched_db(captured.difference, level_by)

        recorders = recorders_rows(captured.difference.edits)

        def rows(room_dba: float | None) -> tuple[AudibilityRow, ...]:
            noise, hum = gap_rows(
                captured.gap,
                full_scale_spl_db=ear.full_scale_spl_db,
                channels=one.format.channels,
                room_dba=room_dba,
                matched_db=matched_db,
                noise_floor_db=_noise_floor_db(captured, one, ear.full_scale_spl_db, room_dba),
            )
            return noise, hum, *recorders

        told = Told(
            music=f"recordings {name_of(one)} against {name_of(other)}",
            basis="measured",
            room_dba=room_dba,
            rows=rows,
            gap=captured.gap,
            captured=captured,
            floors=floors,
            remarks=(
                *_corrected(captured.difference, level_by, matched_db),
                *(() if captured.floor else (NO_FLOOR,)),
            ),
        )
        return judged((one, other), captured.difference, ear, level_by, told)


def recorders_rows(edits: Sequence[Edit]) -> tuple[AudibilityRow, ...]:
    """Rows that are not judged: what was edited between two takes is the recorder's own fault."""
    rows = {
        "exchanged channels": "exchange", "speed": "speed", "wow": "wow",
        **dict.fromkeys(ENDS | INSIDE, "edits"),
    }  # fmt: skip
    named = {rows[edit.kind] for edit in edits if edit.kind in rows}
    return tuple(unjudged_row(name, RECORDERS_OWN) for name in sorted(named))


def floors_of(floor: CaptureFloor | None) -> dict[str, float]:
    """What an instrument's floor comes to, row by row."""
    if floor is None:
        return {}
    found = {
        "level": (floor.level_db, 1.0),
        "balance": (floor.balance_db, 1.0),
        "group delay": (floor.group_delay_s, 1e3),
        "inter-channel delay": (floor.interchannel_delay_s, 1e6),
    }
    floors = {name: value * scale for name, (value, scale) in found.items() if value is not None}
    for name, (low_hz, high_hz) in RANGES_HZ.items():
        inside = [
            db
            for hz, db in zip(floor.hz, floor.bands_db, strict=True)
            if db is not None and low_hz * 0.98 <= hz <= high_hz * 1.02
        ]
        if inside:
            floors[name] = max(inside)
    return floors


def _corrected(difference: Difference, level_by: LevelBy, matched_db: float) -> Iterator[str]:
    """What was taken for the recorder's doing and corrected."""
    if level_by != "nothing":
        size, way = quantity(abs(matched_db), "dB"), "louder" if matched_db > 0.0 else "softer"
        yield (
            f"The second recording is {size} {way} than the first; that was corrected as the "
            "recorder's own level (--level-by nothing keeps it)."
        )
    if difference.alignment.polarity < 0:
        yield (
            "The polarity of the second recording is inverted, by the stage or by a cable; that "
            "was corrected."
        )


def _heard_floors(
    first: Recording,
    calm: Recording,
    between: Difference,
    level_by: LevelBy,
    full_scale_spl_db: float,
    room_dba: float | None,
) -> dict[str, float]:
    """What the ear model makes of the instrument alone, its level corrected as the pair's is."""
    matched_db = level_matched_db(between, level_by)
    heard = listen(
        first, calm, between,
        full_scale_spl_db=full_scale_spl_db, matched_db=matched_db, room_dba=room_dba,
    )  # fmt: skip
    left, chance = heard.remainder.noise_to_mask_db, heard.pair.detection_probability
    found: dict[str, float] = {}
    change_db = between.loudness.difference_db
    if change_db is None:
        change_db = between.alignment.gain_db
    found["level"] = max(abs(change_db - matched_db), between.floor_db)
    if left is not None:
        found["remainder"] = left + _TAKE_TO_TAKE_DB
    if chance is not None:  # an instrument that is heard itself leaves nothing to be told
        found["ear model"] = 1.0 if chance >= limits()["ear model"].may else chance
    return found


def _noise_floor_db(
    captured: Captured, first: Recording, full_scale_spl_db: float, room_dba: float | None
) -> float:
    """The least change of noise that shows, over what hides it: dither, the repeat, or chance.

    The power of a band of width B, heard for T seconds in each channel, varies by 1 in sqrt(B T)
    from take to take (Rice, Bell System Technical Journal 23, 1944).
    """
    made = first.format
    at_seat = full_scale_spl_db + decibels(made.channels) / 2.0
    floor = dither_over_db(at_seat, rate_hz=made.rate_hz, room_noise_dba=room_dba)
    own = captured.gap.first
    if own is None:
        return floor
    hz, bands = np.array(own.hz), np.array(own.bands_dbfs) + at_seat
    width_hz = hz * (10.0**0.05 - 10.0**-0.05)
    chance = np.sqrt(2.0 / (width_hz * captured.gap.seconds * made.channels))
    over = bands + 10.0 * np.log10(_SURELY * chance) - hiding_db(hz, room_noise_dba=room_dba)
    known = [floor, float(over.max())]
    if captured.floor is not None and len(captured.floor.noise_dbfs) == hz.size:
        again = [-np.inf if level is None else level for level in captured.floor.noise_dbfs]
        known.append(
            noise_change(hz, bands, np.array(again) + at_seat, room_noise_dba=room_dba).over_db
        )
    return max(known)
