"""The headroom ladder: level from source to speaker, with what limits it at each place."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from stagefx.figures.table import Figures
from stagefx.report.plots import style
from stagefx.report.plots.stage.level_plan import Station, level_plan
from stagefx.report.text.numbers import amount
from stagefx.report.text.sentences import as_sentence, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_RUNG = 0.3
"""Half the width of a rung, in stations."""

_ROOM_FOR_TEXT_DB = 8.0
_WHOLE = "full scale is "

_SHORT = {"amplifier output": "amplifier\noutput", "power amplifier input": "power\namplifier"}


def headroom_claim(stations: Sequence[Station]) -> str:
    """What a headroom ladder shows, as a sentence."""
    if not stations:
        return "no level is stated for the source"
    clipping = next((s for s in stations if s.limit_name == "clips"), None)
    least = clipping or next((s for s in stations if s.headroom_db is not None), None)
    if least is None or least.headroom_db is None:
        return "nothing is known to limit the level"
    room = f"{abs(least.headroom_db):.1f} dB"
    if least.headroom_db < 0.0:
        return f"{_WHOLE}{room} over {'clipping' if clipping else 'rated power'}"
    return f"{_WHOLE}{room} below {'clipping' if clipping else 'rated power'}"


def draw_headroom(axes: Axes, figures: Figures, *, small: bool = False) -> None:
    """Draw the headroom ladder of a stage."""
    stations = level_plan(figures)
    told = headroom_claim(stations)
    if small:
        told = f"{shortened(figures.stage.name, most=18)}: {told.removeprefix(_WHOLE)}"
    style.claim(axes, as_sentence(told))
    if not stations:
        axes.set_axis_off()
        return
    full = [_dbv(station.full_scale_v_rms) for station in stations]
    programme = [_dbv(station.programme_v_rms) for station in stations]
    limits = [_dbv(s.limit_v_rms) for s in stations if s.limit_v_rms is not None]
    _limit_axes(axes, stations, [*full, *limits, *([] if small else programme)])
    if not small:
        _steps(axes, programme, **style.PART)
        _text(axes, 0, programme[0], "programme\nat \N{MINUS SIGN}18 LUFS", above=False)
    _steps(axes, full, **style.BASELINE)
    for place, station in enumerate(stations):
        _label(axes, place, station)


def _dbv(volts_rms: float) -> float:
    return 20.0 * math.log10(volts_rms) if volts_rms > 0.0 else -200.0


def _limit_axes(axes: Axes, stations: Sequence[Station], levels: Sequence[float]) -> None:
    low = 10.0 * math.floor((min(levels) - 10.0) / 10.0)
    style.level_axis(axes, low, max(levels) + 12.0, label="level, dBV")
    axes.set_xlim(-0.5, len(stations) - 0.5)
    axes.set_xticks(range(len(stations)), [_SHORT.get(s.name, s.name) for s in stations])
    axes.grid(visible=False, axis="x")


def _steps(axes: Axes, levels: Sequence[float], **line: Any) -> None:
    """A rung at every place, joined thinly so that the eye follows the signal."""
    thin = {**line, "linewidth": 0.7}
    for place, level in enumerate(levels):
        axes.plot([place - _RUNG, place + _RUNG], [level, level], **line)
        if place:
            axes.plot([place - 1 + _RUNG, place - _RUNG], levels[place - 1 : place + 1], **thin)


def _label(axes: Axes, place: int, station: Station) -> None:
    """What arrives at one place, and what it can take."""
    level, here = _dbv(station.full_scale_v_rms), amount(station.full_scale_v_rms, "V")
    if place == 0:
        here = f"full scale\n{here}"
    limit_v, headroom_db = station.limit_v_rms, station.headroom_db
    if limit_v is None or headroom_db is None:
        _text(axes, place, level, here, above=True)
        return
    limit = _dbv(limit_v)
    axes.plot([place - _RUNG, place + _RUNG], [limit, limit], **style.THRESHOLD)
    if headroom_db >= 0.0:
        _text(axes, place, level, here, above=False)
        room = f"{headroom_db:.1f} dB to spare"
        _text(axes, place, limit, f"{station.limit_name}\n{amount(limit_v, 'V')}", above=True)
        _arrow(axes, place, level, limit)
        if limit - level > _ROOM_FOR_TEXT_DB:
            axes.text(place + 0.06, 0.5 * (level + limit), room.replace(" to", "\nto"), size=9.0,
                      va="center")  # fmt: skip
    else:
        over = f"{here}\n{-headroom_db:.1f} dB over"
        _text(axes, place, level, over, above=True)
        _text(axes, place, limit, f"{station.limit_name}\n{amount(limit_v, 'V')}", above=False)


def _text(axes: Axes, place: int, level: float, text: str, *, above: bool) -> None:
    axes.annotate(
        text, (place, level), xytext=(0.0, 4.0 if above else -4.0), textcoords="offset points",
        ha="center", va="bottom" if above else "top", size=9.0,
    )  # fmt: skip


def _arrow(axes: Axes, place: int, low: float, high: float) -> None:
    arrow = {"arrowstyle": "<->", "color": style.PENCIL, "linewidth": 0.8, "shrinkA": 0.0}
    axes.annotate("", (place, high), xytext=(place, low), arrowprops=arrow | {"shrinkB": 0.0})
