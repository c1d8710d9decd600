"""The ledger: one row for each kind of difference, with its limits and how far it is from them."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from stagefx.difference import DelayFound, Deviation, Difference
from stagefx.difference.bands import nominal_hz
from stagefx.hearing.grades import Grade, grade_of
from stagefx.hearing.noise import NoiseChange
from stagefx.hearing.thresholds import Limit, limits
from stagefx.hearing.witness import Heard

RANGES_HZ = {"low end": (20.0, 80.0), "middle": (100.0, 8000.0), "high end": (8000.0, 16000.0)}

NOT_MEASURED = "not measured"
NOT_FROM_MUSIC = "cannot be told from music alone"
NOT_JUDGED = {
    "group delay": NOT_MEASURED,
    "inter-channel delay": NOT_MEASURED,
    "remainder": NOT_MEASURED,
    "harmonics": NOT_FROM_MUSIC,
    "noise": NOT_FROM_MUSIC,
    "hum": NOT_FROM_MUSIC,
    "crosstalk": NOT_FROM_MUSIC,
    "ear model": NOT_MEASURED,
}
"""Why a row has no value, unless it is given one."""


@dataclass(frozen=True)
class LedgerRow:
    """One kind of difference, set against hearing.

    Parameters
    ----------
    name : str
        Which kind.
    value : float or None
        How much there is, in `unit`; of a deviation its size.  None where it was not judged.
    unit : str
        Of value, limits and floor.
    may, will : float
        May be heard from, will be heard from.
    margin_db : float or None, dB
        Distance from the may-limit, positive on the safe side; None where it was not judged.
    grade : Grade or None
        None where it was not judged.
    source : str
        What the limits rest on.
    floor : float or None
        The least that could have been found.
    at_hz : float or None, Hz
        Where in frequency the value was found.
    direction : str
        ``"up"`` or ``"down"`` where the second version has more or less; else empty.
    remark : str
        Why there is no value, or what the value leaves out.
    """

    name: str
    value: float | None
    unit: str
    may: float
    will: float
    margin_db: float | None
    grade: Grade | None
    source: str
    floor: float | None = None
    at_hz: float | None = None
    direction: str = ""
    remark: str = ""


def margin_db(value: float, limit: Limit) -> float | None:
    """How far a value is from where it may be heard.

    ``20 log10(may / value)`` of a deviation, ``may - value`` of a level

    Parameters
    ----------
    value : float
        In the limit's unit; of a deviation its size.
    limit : Limit
        What it is set against.

    Returns
    -------
    float or None, dB
        Negative beyond the limit; infinite where there is nothing; None of a probability.

    Examples
    --------
    >>> round(margin_db(0.02, limits()["level"]), 6), margin_db(-25.0, limits()["noise"])
    (20.0, 25.0)
    """
    if limit.scale == "probability":
        return None
    if limit.scale == "level":
        return limit.may - value
    return 20.0 * math.log10(limit.may / value) if value > 0.0 else math.inf


def judged_row(
    name: str,
    value: float,
    *,
    floor: float | None = None,
    at_hz: float | None = None,
    direction: str = "",
    remark: str = "",
) -> LedgerRow:
    """A row with a value.

    Parameters
    ----------
    name : str
        A row of the limits.
    value : float
        In the limit's unit; of a deviation its size.
    floor : float or None
        The least that could have been found.
    at_hz : float or None, Hz
        Where it was found.
    direction : str
        ``"up"`` or ``"down"``, or empty.
    remark : str
        What the value leaves out.

    Returns
    -------
    LedgerRow
        With its margin and grade.

    Examples
    --------
    >>> row = judged_row("high end", 0.1, floor=0.001, at_hz=15848.93)
    >>> row.margin_db, row.grade.value
    (20.0, 'should not be heard')
    """
    limit = limits()[name]
    grade = grade_of(value, limit, floor=floor)
    return LedgerRow(
        name, value, limit.unit, limit.may, limit.will, margin_db(value, limit), grade,
        _source(limit), floor, at_hz, direction, remark,
    )  # fmt: skip


def unjudged_row(name: str, remark: str) -> LedgerRow:
    """A row without a value, which says why.

    Parameters
    ----------
    name : str
        A row of the limits.
    remark : str
        Why there is none.

    Returns
    -------
    LedgerRow
        Without margin and grade.

    Examples
    --------
    >>> unjudged_row("crosstalk", "not measured").grade is None
    True
    """
    limit = limits()[name]
    return LedgerRow(
        name, None, limit.unit, limit.may, limit.will, None, None, _source(limit), remark=remark
    )


def with_floor(row: LedgerRow, floor: float) -> LedgerRow:
    """A row graded again over a floor.

    Parameters
    ----------
    row : LedgerRow
        Any row; one without a value stays as it is.
    floor : float
        The least that an instrument could have found, in the row's unit; the row's own counts
        where it is larger.

    Returns
    -------
    LedgerRow
        With that floor.

    Examples
    --------
    >>> with_floor(judged_row("level", 0.01, floor=0.001), 0.05).grade.value
    'below what can be measured'
    """
    if row.value is None:
        return row
    larger = floor if row.floor is None else max(floor, row.floor)
    return replace(row, floor=larger, grade=grade_of(row.value, limits()[row.name], floor=larger))


def _source(limit: Limit) -> str:
    return limit.source if limit.source.startswith(limit.kind) else f"{limit.kind}: {limit.source}"


def build_ledger(
    difference: Difference,
    *,
    heard: Heard | None = None,
    matched_db: float = 0.0,
    noise: NoiseChange | None = None,
    noise_floor_db: float | None = None,
    rows: Iterable[LedgerRow] = (),
) -> tuple[LedgerRow, ...]:
    """Set a difference against hearing, row by row.

    Parameters
    ----------
    difference : Difference
        What changed.
    heard : Heard or None
        What the ear model makes of it.
    matched_db : float, dB
        Level of the second re the first that a listener's level match takes away.
    noise : NoiseChange or None
        Of the two stages; None where only music is at hand.
    noise_floor_db : float or None, dB
        What dither comes to on the same scale.
    rows : iterable of LedgerRow
        Known from elsewhere; they take the place of the ledger's own.

    Returns
    -------
    tuple of LedgerRow
        Every kind of difference, in the order of the limits.

    Examples
    --------
    >>> import numpy as np
    >>> from stagefx.audio.recording import HeldAudio
    >>> from stagefx.difference import take_apart
    >>> noise = 0.1 * np.random.default_rng(1).standard_normal((96000, 2))
    >>> softer = HeldAudio(10.0 ** (-0.1 / 20.0) * noise, 48000)
    >>> level, *_ = build_ledger(take_apart(HeldAudio(noise, 48000), softer))
    >>> level.name, round(level.value, 6), round(level.margin_db, 3), level.grade.value
    ('level', 0.1, 6.021, 'should not be heard')
    """
    found = {name: unjudged_row(name, remark) for name, remark in NOT_JUDGED.items()}
    found["level"] = _level_row(difference, matched_db)
    found["balance"] = _balance_row(difference)
    for name, (low_hz, high_hz) in RANGES_HZ.items():
        found[name] = _range_row(name, difference.response.worst(low_hz, high_hz))
    found["group delay"] = _delay_row("group delay", difference.group_delay, 1e3)
    found["inter-channel delay"] = _delay_row(
        "inter-channel delay", difference.interchannel_delay, 1e6
    )
    if heard is not None:
        found["remainder"], found["ear model"] = _ear_rows(heard)
    if noise is not None:
        found["noise"] = judged_row("noise", noise.over_db, floor=noise_floor_db, at_hz=noise.hz)
    found.update((row.name, row) for row in rows)
    return tuple(found[name] for name in limits())


def _level_row(difference: Difference, matched_db: float) -> LedgerRow:
    change, remark = difference.loudness.difference_db, ""
    if change is None:
        change = difference.alignment.gain_db
        remark = "gain over all frequencies: too short or too quiet for a loudness"
    change -= matched_db
    return judged_row(
        "level",
        abs(change),
        floor=difference.floor_db,
        direction=_direction(change),
        remark=remark,
    )


def _balance_row(difference: Difference) -> LedgerRow:
    if difference.balance_db is None:
        return unjudged_row("balance", "only one channel sounds")
    return judged_row("balance", abs(difference.balance_db), floor=2.0 * difference.floor_db)


def _range_row(name: str, found: Deviation | None) -> LedgerRow:
    if found is None:
        return unjudged_row(name, "the music has nothing there that could be measured")
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


def _delay_row(name: str, found: DelayFound | None, scale: float) -> LedgerRow:
    if found is None or found.value_s is None:
        return unjudged_row(name, found.reason if found and found.reason else NOT_MEASURED)
    floor = None if found.floor_s is None else scale * found.floor_s
    return judged_row(name, scale * abs(found.value_s), floor=floor, at_hz=found.at_hz)


def _ear_rows(heard: Heard) -> tuple[LedgerRow, LedgerRow]:
    left, pair = heard.remainder.noise_to_mask_db, heard.pair.detection_probability
    remainder = (
        unjudged_row("remainder", heard.remainder.reason)
        if left is None
        else judged_row(
            "remainder", left, floor=heard.floor_noise_to_mask_db, at_hz=heard.remainder.worst_hz
        )
    )
    ear = (
        unjudged_row("ear model", heard.pair.reason)
        if pair is None
        else judged_row("ear model", pair, floor=heard.floor_probability, at_hz=heard.pair.worst_hz)
    )
    return remainder, ear


def _direction(change_db: float) -> str:
    return "" if change_db == 0.0 else "up" if change_db > 0.0 else "down"
