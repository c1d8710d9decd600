"""The position of a volume control at which two stages differ most, worked out on paper.

Both controls turn together: wherever the first plays, the second plays as it does now.  Response,
noise, hum, crosstalk and direct voltage follow from the circuits; distortion is not looked at.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.circuit import Circuit, build
from stagefx.circuit.dc import coupling_unknown, speaker_direct_v
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.knob import seat_spl_db
from stagefx.circuit.noise import noise_bands_by_draw
from stagefx.circuit.response import Response
from stagefx.dsp.bands import nominal_hz, third_octaves_hz
from stagefx.effects.crosstalk import crosstalk
from stagefx.figures.faults import MOST_SPEAKER_DIRECT_V
from stagefx.hearing.audibility import RANGES_HZ, REFERENCE_HZ, AudibilityRow, judged_row
from stagefx.hearing.grades import Grade, together
from stagefx.hearing.rows.noise import hiding_db, noise_change
from stagefx.hearing.rows.stages import CROSSTALK_HZ, hum_lines
from stagefx.hearing.wording import decibels, subject
from stagefx.units import show

Array = NDArray[np.float64]

NO_CONTROL = "neither stage has a volume control"
NO_SOURCE_LEVEL = "the source's level is not stated"
POINTS = 101
"""Positions looked at, one a hundredth of the travel: finer would not move a verdict."""
_FINE_POINTS = 1001
"""At which the second control's law is read to play as loud as the first."""
LOWEST_DB = -60.0
"""A control set lower than this is off: nobody listens there (working assumption)."""
WORSE_DB = 1.0
"""By so much a row has to come nearer to its limit before a position counts as worse."""
_KILOHERTZ = np.array([1000.0])


@dataclass(frozen=True)
class WorstKnob:
    """The worst position of a control and its grade; or why the verdict does not depend on it.

    `position` is the share of travel of the second stage's control, or of the first's where the
    second has none; `setting_db` its unloaded ratio.
    """

    position: float | None = None
    setting_db: float | None = None
    grade: Grade | None = None
    sentence: str = ""
    reason: str = ""

    def as_json(self) -> dict[str, Any]:
        """The keys of ``verdict_at_worst_knob``; ``value`` and ``reason`` where there is none."""
        if self.grade is None:
            return {"value": None, "reason": self.reason}
        return {
            "position": self.position,
            "setting_db": self.setting_db,
            "grade": str(self.grade),
            "sentence": self.sentence,
        }


NOT_TURNED = WorstKnob(reason=NO_CONTROL)


@dataclass(frozen=True)
class _Positions:
    """Two circuits with one draw a position of the control, the one in use first."""

    in_use: tuple[Circuit, Circuit]
    turned: tuple[Circuit, Circuit]
    level_db: Array
    """Of the one whose control turns, its unloaded ratio [positions]."""
    travel: Array
    shown: int
    """Which of the two stages' control is named."""


def worst_knob(
    first: Circuit,
    second: Circuit,
    *,
    full_scale_spl_db: float,
    room_noise_dba: float | None,
    grade_in_use: Grade,
) -> WorstKnob:
    """Find the position of the controls at which two stages differ most, and judge it on paper.

    Each circuit has its knob as in use; without a listening chain full scale plays there at the
    stated level, and the power amplifier stays as it is while the knob turns.
    """
    pair = (first, second)
    if all(circuit.stage.volume is None for circuit in pair):
        return NOT_TURNED
    if any(circuit.source_v_rms is None for circuit in pair):
        return WorstKnob(reason=NO_SOURCE_LEVEL)
    positions = _positions(first, second)
    rows = [
        *_response_rows(positions),
        *_noise_rows(positions, full_scale_spl_db, room_noise_dba),
        *_crosstalk_rows(positions),
    ]
    nearest = [min(at, key=_margin) for at in zip(*rows, strict=True)]
    margins = np.array([_margin(row) for row in nearest])
    worst = int(np.argmin(margins))
    if not margins[worst] < margins[0] - WORSE_DB:
        worst = 0
    found = together({row.name: row.grade for at in rows if (row := at[worst]).grade is not None})
    return _said(positions, worst, nearest[worst], found or Grade.BELOW, grade_in_use)


def _said(
    positions: _Positions, worst: int, row: AudibilityRow, grade: Grade, grade_in_use: Grade
) -> WorstKnob:
    """The verdict at the worst position, or that it is the same everywhere."""
    direct_at, direct = _direct(positions)
    what = f"{_where(positions, worst)}, {_what(row)}"
    over = row.margin_db is not None and row.margin_db <= 0.0
    if worst and over:
        said = f"At the worst position of the control, {what}: {grade}"
        if grade.rank < grade_in_use.rank:
            grade, said = grade_in_use, f"{said} by itself; the verdict stays '{grade_in_use}'"
        return _of(positions, worst, grade, f"{said}. {direct}".strip())
    if direct:
        return _of(positions, direct_at, grade_in_use, direct)
    if worst:
        heard = grade_in_use.rank >= Grade.MAY.rank
        same = (
            "the verdict is the same at every position of the control"
            if heard
            else "the difference should not be heard at any position of the control"
        )
        return WorstKnob(reason=f"{same}; at the worst, {what}")
    return WorstKnob(reason="no position of the control is worse than the one in use")


def _of(positions: _Positions, at: int, grade: Grade, sentence: str) -> WorstKnob:
    travel, level_db = float(positions.travel[at]), float(positions.level_db[at])
    return WorstKnob(travel, level_db, grade, sentence)


def _where(positions: _Positions, at: int) -> str:
    """A position in words; that of the other control, too, where it stands elsewhere."""
    where = (
        f"{_percent(positions.travel[at])} of travel, {positions.level_db[at]:.1f} dB "
        f"({_percent(positions.travel[0])} in use)"
    )
    other = positions.turned[1 - positions.shown].volume_position
    if other is None or abs(float(other[at, 0]) - positions.travel[at]) < 0.01:
        return where
    names = [circuit.stage.name for circuit in positions.in_use]
    there = f"{_percent(other[at, 0])} in '{names[1 - positions.shown]}'"
    return f"{where} in '{names[positions.shown]}' and {there}"


def _percent(share: float) -> str:
    return f"{100.0 * float(share):.0f} %"


def _what(row: AudibilityRow) -> str:
    """What a row would come to, in the conditional."""
    assert row.value is not None
    at = "" if row.at_hz is None else f" at {nominal_hz(row.at_hz)}"
    if row.name in RANGES_HZ:
        return f"{subject(row.name)} would be {decibels(row.value)} {row.direction}{at}"
    if row.name in {"noise", "hum"}:
        side = "above" if row.value >= 0.0 else "below"
        size = decibels(abs(row.value))
        return f"{subject(row.name)} would be {size} {side} threshold and room noise{at}"
    return f"{subject(row.name)} would change by {decibels(row.value)}{at}"


def _margin(row: AudibilityRow) -> float:
    return math.inf if row.margin_db is None else row.margin_db


def _positions(first: Circuit, second: Circuit) -> _Positions:
    """Both controls over their travel, the second as loud re the first as it is in use."""
    pair = (first, second)
    shown = 0 if second.stage.volume is None else 1
    leading = 1 if first.stage.volume is None else 0
    travel = _travel(pair[leading], POINTS)
    following = pair[1 - leading]
    alone = following.stage.volume is None
    other = np.zeros_like(travel) if alone else _as_loud(pair[leading], travel, following)
    keep = np.isfinite(other)
    both = np.empty((2, 1 + int(keep.sum())))
    both[leading], both[1 - leading] = (
        _after(pair[leading], travel[keep]),
        _after(following, other[keep]),
    )
    turned = [_turned(circuit, at) for circuit, at in zip(pair, both, strict=True)]
    volume = pair[shown].stage.volume
    assert volume is not None
    ratio = turned[shown].volume_ratio
    assert ratio is not None
    with np.errstate(divide="ignore"):
        level_db = np.asarray(20.0 * np.log10(ratio[:, 0]))
    return _Positions(pair, (turned[0], turned[1]), level_db, both[shown], shown)


def _travel(circuit: Circuit, points: int) -> Array:
    """Positions of a control that somebody may use: every step, or evenly along the travel."""
    assert circuit.stage.volume is not None
    law = circuit.stage.volume.law
    travel = np.linspace(0.0, 1.0, len(law.steps_db) or points)
    return np.asarray(travel[law.ratio(travel) >= 10.0 ** (LOWEST_DB / 20.0)])


def _after(circuit: Circuit, travel: Array) -> Array:
    """The position in use before all others."""
    in_use = 0.0 if circuit.volume_position is None else float(circuit.volume_position[0, 0])
    return np.concatenate([[in_use], travel])


def _turned(circuit: Circuit, travel: Array) -> Circuit:
    """A circuit at stated values with one draw a position."""
    rows = np.ones((travel.size, 1))
    made = build(circuit.stage, lambda _key, spread: float(spread[1]) * rows)
    if circuit.volume_ratio is None:
        return made
    return made.at_position(travel[:, None])


def _gain_db(circuit: Circuit) -> Array:
    with np.errstate(divide="ignore"):
        gain = np.abs(Response(circuit, _KILOHERTZ).to_load)[:, 0]
        return np.asarray(20.0 * np.log10(gain))


def _as_loud(leading: Circuit, travel: Array, following: Circuit) -> Array:
    """Positions of a second control that keep the two gains apart as in use; NaN where none."""
    kept = float((_gain_db(following) - _gain_db(leading))[0])
    wanted = _gain_db(_turned(leading, travel)) + kept
    own = _travel(following, _FINE_POINTS)
    gains = np.maximum.accumulate(_gain_db(_turned(following, own)))
    assert following.stage.volume is not None
    steps = np.diff(gains).max(initial=0.0) if following.stage.volume.law.steps_db else 0.0
    reached = (wanted >= gains[0] - steps) & (wanted <= gains[-1] + steps + 1e-6)
    if following.stage.volume.law.steps_db:
        found = own[np.abs(gains[None, :] - wanted[:, None]).argmin(axis=1)]
    else:
        found = np.interp(wanted, gains, own)
    return np.asarray(np.where(reached, found, np.nan))


def _response_rows(positions: _Positions) -> Iterator[list[AudibilityRow]]:
    hz = third_octaves_hz()
    first, second = (np.abs(Response(circuit, hz).to_load) for circuit in positions.turned)
    deviation = 20.0 * np.log10(np.maximum(second, 1e-30) / np.maximum(first, 1e-30))
    low, high = REFERENCE_HZ
    inside = (hz >= 0.98 * low) & (hz <= 1.02 * high)
    deviation = deviation - np.median(deviation[:, inside], axis=1)[:, None]
    for name, (low_hz, high_hz) in RANGES_HZ.items():
        inside = (hz >= 0.98 * low_hz) & (hz <= 1.02 * high_hz)
        within, bands = deviation[:, inside], hz[inside]
        at = np.abs(within).argmax(axis=1)
        values = np.take_along_axis(within, at[:, None], axis=1)[:, 0]
        yield [
            judged_row(
                name, abs(float(value)), at_hz=float(bands[band]),
                direction="up" if value > 0.0 else "down",
            )
            for value, band in zip(values, at, strict=True)
        ]  # fmt: skip


def _noise_rows(
    positions: _Positions, full_scale_spl_db: float, room_noise_dba: float | None
) -> Iterator[list[AudibilityRow]]:
    described = all(circuit.stage.listening is not None for circuit in positions.in_use)
    scale = None if described else full_scale_spl_db
    found = [noise_bands_by_draw(circuit) for circuit in positions.turned]
    levels = [
        _at_seat(circuit, volts, scale)
        for circuit, (_, volts) in zip(positions.in_use, found, strict=True)
    ]
    changes = [
        noise_change(found[0][0], one, other, room_noise_dba=room_noise_dba)
        for one, other in zip(*levels, strict=True)
    ]
    yield [judged_row("noise", change.over_db, at_hz=change.hz) for change in changes]
    if any(_hum_turns(circuit.stage) for circuit in positions.in_use):
        yield list(_hum(positions, scale, room_noise_dba))


def _hum_turns(stage: Stage) -> bool:
    """Whether stated hum is one thing or another with the knob: behind the amplifier it is."""
    return stage.hum is not None and stage.volume is not None and stage.volume.place == "after"


def _hum(
    positions: _Positions, scale: float | None, room_noise_dba: float | None
) -> Iterator[AudibilityRow]:
    """Stated hum and ripple, position by position."""
    for at in range(positions.travel.size):
        lines = [
            hum_lines(circuit if turned.volume_position is None
                      else circuit.at_position(float(turned.volume_position[at, 0])))
            for circuit, turned in zip(positions.in_use, positions.turned, strict=True)
        ]  # fmt: skip
        hz = np.array(sorted({line for one in lines for line in one}))
        levels = [
            _at_seat(circuit, np.array([one.get(line, 0.0) for line in hz]), scale)
            for circuit, one in zip(positions.in_use, lines, strict=True)
        ]
        power = np.abs(10.0 ** (levels[1] / 10.0) - 10.0 ** (levels[0] / 10.0))
        with np.errstate(divide="ignore"):
            over = 10.0 * np.log10(power) - hiding_db(hz, room_noise_dba=room_noise_dba)
        worst = int(np.argmax(over))
        yield judged_row("hum", float(over[worst]), at_hz=float(hz[worst]))


def _at_seat(in_use: Circuit, volts: Array, full_scale_spl_db: float | None) -> Array:
    """Volts at the load as sound, the power amplifier as it is in use."""
    if full_scale_spl_db is None:
        return seat_spl_db(in_use, volts)
    assert in_use.source_v_rms is not None
    full_scale_v = float(in_use.source_v_rms[0, 0]) * 10.0 ** (float(_gain_db(in_use)[0]) / 20.0)
    with np.errstate(divide="ignore"):
        return np.asarray(20.0 * np.log10(volts / full_scale_v) + full_scale_spl_db)


def _crosstalk_rows(positions: _Positions) -> Iterator[list[AudibilityRow]]:
    if all(circuit.stage.crosstalk is None for circuit in positions.in_use):
        return
    rows = []
    for at in range(positions.travel.size):
        one, other = (
            crosstalk(circuit if turned.volume_position is None
                      else circuit.at_position(float(turned.volume_position[at, 0])), CROSSTALK_HZ)
            for circuit, turned in zip(positions.in_use, positions.turned, strict=True)
        )  # fmt: skip
        change = np.abs(other - one).ravel()
        worst = int(np.argmax(change))
        value = 20.0 * math.log10(max(float(change[worst]), 1e-12))
        rows.append(judged_row("crosstalk", value, at_hz=float(CROSSTALK_HZ[worst])))
    yield rows


def _direct(positions: _Positions) -> tuple[int, str]:
    """Where a control lets more direct voltage to the loudspeaker than there should be."""
    for circuit, turned in zip(positions.in_use, positions.turned, strict=True):
        volts = None if circuit.stage.amplifier is None else speaker_direct_v(turned)
        if volts is None or volts[0] > MOST_SPEAKER_DIRECT_V or not np.isfinite(volts).all():
            continue
        most = int(np.argmax(volts))
        travel = turned.volume_position
        if volts[most] > MOST_SPEAKER_DIRECT_V and travel is not None:
            unknown = ", if the power amplifier is DC-coupled" if coupling_unknown(circuit) else ""
            return most, (
                f"With the control of '{circuit.stage.name}' at {_percent(travel[most, 0])} of "
                f"travel up to {show(float(volts[most]), 'V', digits=3)} of direct voltage stand "
                f"at the loudspeaker{unknown}."
            )
    return 0, ""
