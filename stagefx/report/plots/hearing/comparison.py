"""One sheet for a comparison: how the response changed, and how far that is from being heard."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from stagefx.audition.comparison import Comparison
from stagefx.dsp.bands import nominal_hz
from stagefx.hearing.audibility import RANGES_HZ, AudibilityRow
from stagefx.hearing.grades import Grade
from stagefx.hearing.thresholds import limits
from stagefx.hearing.wording import decibels
from stagefx.report.plots import style
from stagefx.report.text.margins import distance_db, floor_margin_db, margin_words, nearest_first

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FARTHEST_DB, NEAREST_DB = -100.0, 20.0
"""Ends of the distance-to-hearing chart, re the limit."""

_MARKS = {Grade.WILL: "full", Grade.MAY: "left", Grade.SHOULD_NOT: "none"}
"""How much of a row's round mark is filled; what is under the floor gets a dash."""
MOST_ROWS = 14
"""With more the words of neighbours touch; what is left out is farthest from being heard."""


def draw_comparison(found: Comparison) -> Figure:
    """Draw what changed, and how far that is from being heard."""
    verdict = found.verdict
    how = f"{verdict.basis.capitalize()}, {', '.join(verdict.conditions)}."
    under = style.wrapped(f"{how} Hatched: too small to be found.", 150)
    with style.drawing():
        made = style.sheet(f"{verdict.sentence.partition('. ')[0].removesuffix('.')}.", under)
        draw_change(made.add_axes((style.MARGIN, 0.16, 0.32, 0.64)), found)
        draw_distance(made.add_axes((0.605, 0.16, 0.185, 0.64)), found)
    return made


def change_claim(found: Comparison) -> str:
    """What the plot of a changed response shows, as a sentence."""
    worst = found.difference.response.worst(20.0, 16e3)
    if worst is None:
        return "The music is too short to tell the response"
    if abs(worst.db) < 0.01:
        return "The response changes by less than 0.01 dB"
    word = "falls" if worst.db < 0.0 else "rises"
    return f"The response {word} by {decibels(abs(worst.db))} at {nominal_hz(worst.hz)}"


def draw_change(axes: Axes, found: Comparison) -> None:
    """Draw the change of response in third octaves, with its floor and hearing's limits."""
    style.claim(axes, change_claim(found))
    bands = [band for band in found.difference.response.bands if band.db is not None]
    if not bands:
        axes.set_axis_off()
        return
    hz = [band.hz for band in bands]
    change = [band.db or 0.0 for band in bands]
    floor = [band.floor_db or 0.0 for band in bands]
    style.frequency_axis(axes, 20.0, 20e3)
    top, bottom = max(1.5, *change) + 0.3, min(-1.5, *change) - 0.3
    style.level_axis(axes, bottom, top, label="second re first, dB re 1 kHz")
    style.hatch(axes, hz, [-size for size in floor], floor)
    axes.fill_between(hz, change, 0.0, color=style.PLUM, alpha=0.3, linewidth=0.0)
    axes.plot(hz, change, color=style.PLUM, linewidth=2.2)
    for name, (low_hz, high_hz) in RANGES_HZ.items():
        edge = (low_hz * 10.0**-0.05, high_hz * 10.0**0.05)
        for sign in (1.0, -1.0):
            axes.plot(edge, [sign * limits()[name].may] * 2, **style.THRESHOLD)
    ends = [(change[-1], "the change"), (limits()["high end"].may, "may be heard\nfrom here")]
    style.name_ends(axes, ends, gap=0.06)


def distance_claim(found: Comparison) -> str:
    """What the chart of distances to hearing shows, as a sentence."""
    rows = nearest_first(found.audibility)
    if not rows:
        return "Nothing could be judged"
    if rows[0].grade is Grade.BELOW:
        return "Nothing that could be measured changed"
    rows = [row for row in rows if row.margin_db is not None] or rows
    over = rows[0].grade is not None and rows[0].grade.rank >= Grade.MAY.rank
    most = "Most over its limit" if over else "Nearest"
    return f"{most} is the {rows[0].name}: {margin_words(rows[0])}"


def draw_distance(axes: Axes, found: Comparison) -> None:
    """Draw how far each kind of difference is from being heard, the nearest at the top."""
    rows = nearest_first(found.audibility)[:MOST_ROWS]
    style.claim(axes, distance_claim(found))
    axes.set_xlim(FARTHEST_DB, NEAREST_DB)
    axes.set_ylim(len(rows) - 0.4, -0.9)
    axes.set_yticks(range(len(rows)), [row.name for row in rows])
    axes.tick_params(axis="y", labelsize=11.0, labelcolor=style.INK, pad=11.0)
    axes.set_xticks(range(-100, 21, 20))
    axes.grid(visible=False)
    axes.set_xlabel("size of the change, dB re its limit")
    axes.axvline(0.0, color=style.INK, linewidth=1.4)
    axes.annotate("heard from here", (0.0, -0.9), xytext=(0.0, -3.0), ha="center", va="top",
                  textcoords="offset points", size=9.5, backgroundcolor=style.PAPER)  # fmt: skip
    for place, row in enumerate(rows):
        _draw_row(axes, place, row)


def _draw_row(axes: Axes, place: int, row: AudibilityRow) -> None:
    axes.axhline(place, color=style.FAINT, linewidth=0.8, zorder=0.5)
    floor = _within(-floor_margin_db(row))
    if floor > FARTHEST_DB:
        style.hatch(axes, [FARTHEST_DB, floor], [place - 0.12] * 2, [place + 0.12] * 2)
    size = _within(-distance_db(row))
    if row.grade is Grade.BELOW:
        axes.plot([FARTHEST_DB, FARTHEST_DB + 3.0], [place, place], color=style.INK, linewidth=2.4)
    elif row.grade is not None:
        axes.plot(size, place, marker="o", markersize=10.0, color=style.INK, clip_on=False,
                  fillstyle=_MARKS[row.grade], markerfacecoloralt=style.PAPER,
                  markeredgewidth=1.5)  # fmt: skip
    axes.annotate(margin_words(row), (1.0, place), xycoords=("axes fraction", "data"), va="center",
                  xytext=(8.0, 0.0), textcoords="offset points", size=10.0)  # fmt: skip


def _within(db: float) -> float:
    return min(max(db, FARTHEST_DB), NEAREST_DB) if not math.isnan(db) else FARTHEST_DB
