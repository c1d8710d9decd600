"""Two stages side by side on paper, with the differences that matter."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from stagefx.figures.table import DEFINITIONS, Figures
from stagefx.report.text.interpretation import BLOCKED_DIRECT_V, NERVOUS_MARGIN_DEG, Sheet
from stagefx.report.text.numbers import LEVELS, amount, times
from stagefx.units import decibels

ADDED = LEVELS | {"deg"}
"""Units of what is compared by subtraction; all else is compared by ratio."""

SAME_WITHIN, SAME_WITHIN_DB = 1e-3, 5e-3
"""Two values no farther apart than this share, or this many dB, are called the same."""

LEVEL_MATTERS_DB = 0.1
"""Levels are matched this closely before anything is compared by ear (common practice)."""


@dataclass(frozen=True)
class Contrast:
    """One figure of two stages."""

    key: str
    unit: str
    first: float | None
    second: float | None
    change: str
    matters: str

    def as_json(self) -> dict[str, Any]:
        """The contrast as plain values."""
        return dict(vars(self))


def side_by_side(first: Figures, second: Figures) -> tuple[Contrast, ...]:
    """Set two stages beside each other on paper."""
    keys = (d.key for d in DEFINITIONS if d.key in first.figures or d.key in second.figures)
    return tuple(_contrast(key, Sheet(first), Sheet(second)) for key in keys)


def _contrast(key: str, first: Sheet, second: Sheet) -> Contrast:
    a, b = first[key], second[key]
    holder = first if key in first.figures.figures else second
    unit = holder.figures.figures[key].unit
    judge = _JUDGES.get(key)
    matters = judge(first, second) if judge is not None and a is not None and b is not None else ""
    return Contrast(key, unit, a, b, _change(a, b, unit), matters)


def _change(a: float | None, b: float | None, unit: str) -> str:
    if a is None or b is None:
        return "same" if a is b else "in one only"
    if unit in ADDED:
        return "same" if abs(b - a) < SAME_WITHIN_DB else _signed(b - a, unit)
    if abs(b - a) <= SAME_WITHIN * max(abs(a), abs(b)):
        return "same"
    if a * b <= 0.0:
        return _signed(b - a, unit)
    word = "higher" if abs(b) > abs(a) else "lower"
    factor = max(b / a, a / b)
    if factor >= 2.0:
        return f"{times(factor)} {word}"
    return f"{100.0 * abs(b / a - 1.0):.2g} % {word}"


def _signed(change: float, unit: str) -> str:
    text = amount(change, unit)
    return text if change < 0.0 else f"+{text}"


# --- what makes a difference matter ---

Judge = Callable[[Sheet, Sheet], str]


def _tone(key: str, where: str, may_db: float) -> Judge:
    def judge(first: Sheet, second: Sheet) -> str:
        a, b = first[key], second[key]
        assert a is not None
        assert b is not None
        if abs(b - a) < may_db:
            return ""
        return f"tone, at the {where}: may be heard from {may_db:g} dB"

    return judge


def _level(first: Sheet, second: Sheet) -> str:
    a, b = first["gain_db"], second["gain_db"]
    assert a is not None
    assert b is not None
    return "" if abs(b - a) < LEVEL_MATTERS_DB else "level: match it before listening"


def _crosses(key: str, bound: float, says: str) -> Judge:
    """One of the two is beyond a bound (below it, where the bound is a floor), the other not."""

    def judge(first: Sheet, second: Sheet) -> str:
        a, b = first[key], second[key]
        assert a is not None
        assert b is not None
        if (a < bound) == (b < bound):
            return ""
        return says.format("the first" if a < bound else "the second")

    return judge


def _slew(first: Sheet, second: Sheet) -> str:
    slow = []
    for name, sheet in (("the first", first), ("the second", second)):
        needed, has = sheet["slew_needed_v_per_us"], sheet["slew_available_v_per_us"]
        if needed is not None and has is not None and has < needed:
            slow.append(name)
    return f"{slow[0]} is too slow for full scale at 20 kHz" if len(slow) == 1 else ""


def _hiss(first: Sheet, second: Sheet) -> str:
    room = first.stage.listening.room_noise if first.stage.listening is not None else None
    a, b = first["noise_spl_seat_a_db"], second["noise_spl_seat_a_db"]
    if room is None or a is None or b is None or (a < room.value) == (b < room.value):
        return ""
    return f"{'the first' if a > b else 'the second'} hisses over the room"


def _noise_volts(first: Sheet, second: Sheet) -> str:
    """Noise in volts matters by itself only where nobody said how loud it plays."""
    if first.stage.listening is not None and second.stage.listening is not None:
        return ""
    a, b = first["noise_20k_v_rms"], second["noise_20k_v_rms"]
    if not a or not b or abs(decibels(b / a)) < 3.0:
        return ""
    return f"{'the first' if a > b else 'the second'} is noisier"


_JUDGES: dict[str, Judge] = {
    "gain_db": _level,
    "response_20_hz_db": _tone("response_20_hz_db", "low end", 0.5),
    "response_10_khz_db": _tone("response_10_khz_db", "high end", 1.0),
    "source_headroom_db": _crosses("source_headroom_db", 0.0, "{} clips on a full-scale source"),
    "slew_available_v_per_us": _slew,
    "phase_margin_deg": _crosses("phase_margin_deg", NERVOUS_MARGIN_DEG, "{} rings"),
    "noise_20k_v_rms": _noise_volts,
    "noise_spl_seat_a_db": _hiss,
    "regulator_margin_v": _crosses("regulator_margin_v", 0.0, "{} drops out at low mains"),
    "speaker_dc_v": _crosses("speaker_dc_v", BLOCKED_DIRECT_V, "only {} is below 50 mV"),
}
