"""The rows that a difference fills: level, balance, response, delay, what the ear makes of it.

One cause lights one row.  Responses are told re the median third octave, a resonance by its own
row instead of those that it would light, and a change of level that a told response makes is not
told a second time.  Bands that the music does not make audible do not count.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from stagefx.difference.decomposition import Difference
from stagefx.difference.linear.phase import DelayFound, delays_of, largest_delay
from stagefx.difference.linear.response import Deviation
from stagefx.dsp.bands import nominal_hz, third_octaves_hz
from stagefx.dsp.weighting import k_weighting_db
from stagefx.hearing.audibility import (
    NOT_MEASURED,
    RANGES_HZ,
    REFERENCE_HZ,
    AudibilityRow,
    judged_row,
    unjudged_row,
)
from stagefx.hearing.ear_model import Heard
from stagefx.hearing.grades import EAR_MODEL, Grade
from stagefx.hearing.level_at_ear import UNKNOWN_FULL_SCALE_DB
from stagefx.hearing.rows.edits import edit_rows
from stagefx.hearing.rows.noise import hiding_db
from stagefx.hearing.rows.resonance import Resonance, find_resonance
from stagefx.hearing.thresholds import limits

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

NOT_FROM_MUSIC = "cannot be told from music alone"
NOT_JUDGED = {
    "group delay": NOT_MEASURED,
    "inter-channel delay": NOT_MEASURED,
    "inter-channel phase": NOT_MEASURED,
    "remainder": NOT_MEASURED,
    "events": NOT_MEASURED,
    "harmonics": NOT_FROM_MUSIC,
    "noise": NOT_FROM_MUSIC,
    "hum": NOT_FROM_MUSIC,
    "crosstalk": NOT_FROM_MUSIC,
    EAR_MODEL: NOT_MEASURED,
}
"""Why a row has no value, unless it is given one."""

HIGHEST_HZ = 16e3
"""The third octave about 16 kHz is the last that is heard."""
_CREST_DB = 15.0
"""Over its mean, a band of music rises by as much in its loudest moments (common practice)."""
_SHAPES = ("low end", "middle", "high end", "resonance")
LEAST_DB = 1e-3
_LEAST_COHERENCE = 0.9
"""With less a tone that one version has more would pass for a resonance."""
LEAST_EVENT_DB = -30.0
"""Quieter events are not told from dither in loud music."""
_MIDDLE_HZ = 700.0
"""A phase is as unsure as the delay between the channels, here in the middle of its range."""


def build_audibility(
    difference: Difference,
    *,
    full_scale_spl_db: float = UNKNOWN_FULL_SCALE_DB,
    room_dba: float | None = None,
    heard: Heard | None = None,
    matched_db: float = 0.0,
    rows: Iterable[AudibilityRow] = (),
) -> tuple[AudibilityRow, ...]:
    """Set a difference against hearing, row by row, in the order of the limits.

    `matched_db` is the level of the second re the first that a listener's level match takes away;
    `rows` are known from elsewhere and take the place of the audibility table's own.
    """
    audible = audible_bands(difference, full_scale_spl_db, room_dba)
    found = {name: unjudged_row(name, remark) for name, remark in NOT_JUDGED.items()}
    resonance = _resonance(difference)
    found |= _response_rows(difference, resonance, audible)
    shaped = any(_lit(found[name]) for name in _SHAPES)
    foot = _foot_db(difference, resonance, audible) if shaped else None
    found["level"] = _level_row(difference, audible, matched_db, foot)
    found["balance"] = _balance_row(difference, foot)
    found["inter-channel delay"], found["inter-channel phase"] = _between_channels(difference)
    if heard is not None:
        found |= {row.name: row for row in _ear_rows(heard)}
    edited = edit_rows(
        difference.edits,
        full_scale_spl_db=full_scale_spl_db,
        room_dba=room_dba,
        rate_hz=difference.rate_hz,
    )
    found |= {row.name: row for row in (*edited, *rows)}
    return tuple(found[name] for name in limits())


def audible_bands(
    difference: Difference, full_scale_spl_db: float, room_dba: float | None
) -> NDArray[np.bool_]:
    """Third octaves [bands] that either version makes audible at the seat, up to 16 kHz."""
    hz = third_octaves_hz()
    power = difference.band_powers.max(axis=0).sum(axis=0)
    with np.errstate(divide="ignore"):
        loudest_db = full_scale_spl_db + 10.0 * np.log10(2.0 * power) + _CREST_DB
    return np.asarray(
        (loudest_db >= hiding_db(hz, room_noise_dba=room_dba)) & (hz <= 1.03 * HIGHEST_HZ)
    )


def _resonance(difference: Difference) -> Resonance | None:
    """The resonance of the filter, where the music tells the filter there."""
    if difference.transfer is None:
        return None
    found = find_resonance(difference.transfer.response)
    if found is None:
        return None
    band = min(difference.response.bands, key=lambda each: abs(math.log(each.hz / found.hz)))
    return found if (band.coherence or 0.0) >= _LEAST_COHERENCE else None


def _foot_db(
    difference: Difference, resonance: Resonance | None, audible: NDArray[np.bool_]
) -> Array | None:
    """The median change of each channel [channels] over the audible bands of the reference range.

    That is what is left of level and balance where a row has told the shape of the response.
    """
    hz = third_octaves_hz()
    inside = (hz > 0.97 * REFERENCE_HZ[0]) & (hz < 1.03 * REFERENCE_HZ[1]) & audible
    first, second = difference.band_powers[:, :, inside]
    if not inside.any() or not (first > 0.0).all() or not (second > 0.0).all():
        return None
    changes = 10.0 * np.log10(second / first)
    if resonance is not None:
        changes -= 20.0 * np.log10(np.abs(resonance.response(hz[inside])))
    return np.asarray(np.median(changes, axis=1))


def _level_row(
    difference: Difference, audible: NDArray[np.bool_], matched_db: float, foot: Array | None
) -> AudibilityRow:
    """What is louder over all that is heard; beside a told response its foot alone."""
    weight = 10.0 ** (k_weighting_db(third_octaves_hz()) / 10.0) * audible
    powers = (difference.band_powers * weight).sum(axis=(1, 2))
    remark = ""
    if foot is not None:
        change = float(foot.mean())
    elif powers.all():
        change = 10.0 * math.log10(powers[1] / powers[0])
    else:
        change = (
            difference.alignment.gain_db if difference.level_db is None else difference.level_db
        )
        remark = "over all frequencies: no band of it is audible"
    change -= matched_db
    return judged_row(
        "level",
        abs(change),
        floor=difference.floor_db,
        direction=_direction(change),
        remark=remark,
    )


def _balance_row(difference: Difference, foot: Array | None) -> AudibilityRow:
    value = difference.balance_db
    if foot is not None and len(foot) > 1:
        value = float(np.ptp(foot))
    if value is None:
        return unjudged_row("balance", "only one channel sounds")
    return judged_row("balance", abs(value), floor=2.0 * difference.floor_db)


def _response_rows(
    difference: Difference, resonance: Resonance | None, audible: NDArray[np.bool_]
) -> dict[str, AudibilityRow]:
    """Low end, middle, high end and group delay without the resonance, and the resonance."""
    response = difference.response
    heard_hz = third_octaves_hz()[audible].tolist()
    delays = [each for each in difference.group_delays if each.at_hz in heard_hz]
    if resonance is not None:
        response = response.without(resonance.response)
        delays = [_without(resonance, each) for each in delays]
    response = response.re_median(*REFERENCE_HZ)
    found = {
        name: _range_row(name, response.worst(*range_hz, audible=audible))
        for name, range_hz in RANGES_HZ.items()
    }
    found["resonance"] = _resonance_row(resonance, found["middle"].floor or LEAST_DB)
    found["group delay"] = _delay_row("group delay", largest_delay(delays), 1e3)
    return found


def _lit(row: AudibilityRow) -> bool:
    return row.grade is not None and row.grade.rank >= Grade.MAY.rank


def _resonance_row(resonance: Resonance | None, floor: float) -> AudibilityRow:
    if resonance is None:
        return judged_row("resonance", 0.0, floor=floor)
    height, quality = resonance.height_db, resonance.quality
    kind = "resonance" if height > 0.0 else "dip"
    return judged_row(
        "resonance",
        abs(height),
        limit=resonance.limit,
        floor=floor,
        at_hz=resonance.hz,
        direction=_direction(height),
        sentence=f"A {kind} of {abs(height):.1f} dB at {resonance.hz:.0f} Hz, Q {quality:.2g}.",
    )


def _without(resonance: Resonance, found: DelayFound) -> DelayFound:
    """A group delay less what the resonance makes of it."""
    assert found.value_s is not None
    assert found.at_hz is not None
    own = float(delays_of(resonance.response, np.array([found.at_hz]))[0])
    return replace(found, value_s=found.value_s - own)


def _range_row(name: str, found: Deviation | None) -> AudibilityRow:
    if found is None:
        return unjudged_row(name, "the music has nothing there that could be measured and heard")
    missing = [nominal_hz(hz) for hz in found.missing_hz]
    remark = f"not measured, for want of music: {', '.join(missing)}" if missing else ""
    return judged_row(
        name,
        abs(found.db),
        floor=found.floor_db,
        at_hz=found.hz,
        direction=_direction(found.db),
        remark=remark,
    )


def _delay_row(
    name: str, found: DelayFound | None, scale: float, weight: float = 1.0
) -> AudibilityRow:
    if found is None or found.value_s is None:
        return unjudged_row(name, found.reason if found and found.reason else NOT_MEASURED)
    floor = None if found.floor_s is None else scale * found.floor_s
    value = weight * scale * abs(found.value_s)
    return judged_row(name, value, floor=floor, at_hz=found.at_hz)


def _between_channels(difference: Difference) -> tuple[AudibilityRow, AudibilityRow]:
    """Delay and phase between the channels, as far as they have a source in common."""
    delay, phase = difference.interchannel_delay, difference.interchannel_phase_deg
    coherence = difference.interchannel_coherence
    weight = 1.0 if coherence is None else coherence
    alone = "there is one channel" if coherence is None else NOT_MEASURED
    return (
        _delay_row("inter-channel delay", delay, 1e6, weight),
        unjudged_row("inter-channel phase", alone)
        if phase is None
        else judged_row("inter-channel phase", weight * phase, floor=_phase_floor(delay)),
    )


def _phase_floor(delay: DelayFound | None) -> float:
    unsure_s = delay.floor_s if delay is not None else None
    return max(360.0 * _MIDDLE_HZ * (unsure_s or 0.0), 0.01)


def _ear_rows(heard: Heard) -> tuple[AudibilityRow, ...]:
    left, pair, events = heard.remainder, heard.pair, heard.events
    remainder = (
        unjudged_row("remainder", left.reason)
        if left.noise_to_mask_db is None
        else judged_row(
            "remainder",
            left.noise_to_mask_db,
            floor=heard.floor_noise_to_mask_db,
            at_hz=left.worst_hz,
        )
    )
    ear = (
        unjudged_row(EAR_MODEL, pair.reason)
        if pair.detection_probability is None
        else judged_row(
            EAR_MODEL,
            pair.detection_probability,
            floor=heard.floor_probability,
            at_hz=pair.worst_hz,
        )
    )
    event = (
        unjudged_row("events", events.reason)
        if events.worst_db is None
        else judged_row(
            "events",
            events.worst_db,
            floor=LEAST_EVENT_DB,
            sentence=_events_in_words(events.at_s, events.worst_db),
        )
    )
    return remainder, ear, event


def _events_in_words(at_s: tuple[float, ...], worst_db: float) -> str:
    """How many clicks, gaps or bursts, when, and how loud."""
    if not at_s:
        return ""
    loud = f"{worst_db:.1f} dB above masking"
    if len(at_s) == 1:
        return f"A click, gap or burst at {at_s[0]:.2f} s, {loud}."
    first = f"the first at {at_s[0]:.2f} s"
    return f"{len(at_s)} clicks, gaps or bursts, {first}, the loudest {loud}."


def _direction(change_db: float) -> str:
    return "" if change_db == 0.0 else "up" if change_db > 0.0 else "down"
