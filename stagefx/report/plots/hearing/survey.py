"""A collection in two plots: how steep its pieces are, and from which knob position they clip."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stagefx.circuit.description.devices import device_classes
from stagefx.report.plots import style
from stagefx.report.text.numbers import amount, times
from stagefx.report.text.sentences import shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_BINS_PER_DECADE = 10
_ROOM_FOR_NAMES = -1.8
"""Where the axis begins at the latest, so that the slowest class's name stands inside; log V/us."""
_CLASSES_SHARE = 0.42
"""Share of the plot's height, from above, in which the device classes stand."""


@dataclass(frozen=True)
class Surveyed:
    """What is drawn of a survey."""

    stage: str
    setting: str
    slopes_v_per_us: tuple[float, ...]
    available_v_per_us: float | None
    clips_from: tuple[float | None, ...] | None
    clipping: int = 0
    listening_knobs: tuple[float, ...] = ()
    unreadable: int = 0


def draw_survey(found: Surveyed) -> Figure:
    """Draw a survey."""
    count = len(found.slopes_v_per_us)
    left_out = f", {found.unreadable:,} files could not be read" if found.unreadable else ""
    with style.drawing():
        page = style.sheet(
            f"{count:,} {'piece' if count == 1 else 'pieces'} through "
            f"{shortened(found.stage, most=40)}",
            f"Slopes at the amplifier's output, {found.setting}{left_out}.  Device classes are "
            "common practice, low to high, usual marked.",
        )
        grid = page.add_gridspec(
            1, 2, left=style.MARGIN, right=0.96, top=0.82, bottom=0.14, wspace=0.22
        )
        draw_slopes(page.add_subplot(grid[0]), found)
        draw_clipping(page.add_subplot(grid[1]), found)
    return page


def draw_slopes(axes: Axes, found: Surveyed) -> None:
    """Draw how many pieces are how steep, under the slew rates of the device classes."""
    slopes = [slope for slope in found.slopes_v_per_us if slope > 0.0]
    style.claim(axes, _slope_claim(slopes, found.available_v_per_us))
    if not slopes:
        axes.set_axis_off()
        return
    ranges = _class_slews()
    low = math.floor(_BINS_PER_DECADE * math.log10(min(slopes))) / _BINS_PER_DECADE
    high = math.log10(max(*slopes, *(top for _, _, _, top in ranges)))
    low, high = min(low, _ROOM_FOR_NAMES), math.ceil(high * 2.0 + 0.2) / 2.0
    edges = np.arange(math.floor(low), high + 1.0 / _BINS_PER_DECADE, 1.0 / _BINS_PER_DECADE)
    counts, _ = np.histogram(np.log10(slopes), edges)
    ceiling = counts.max() / (1.0 - _CLASSES_SHARE - 0.04)
    axes.bar(
        10.0 ** edges[:-1], counts, width=10.0 ** edges[1:] - 10.0 ** edges[:-1], align="edge",
        color=style.FAINT, edgecolor=style.INK, linewidth=0.9,
    )  # fmt: skip
    axes.set_xscale("log")
    axes.set_xlim(10.0 ** (low - 0.1), 10.0**high)
    _decades(axes, low, high)
    axes.set_xlabel("steepest slope of a piece, V/us")
    axes.spines["bottom"].set_visible(True)
    axes.set_ylim(0.0, ceiling)
    axes.set_ylabel("pieces")
    _whole_marks(axes, int(counts.max()))
    _draw_classes(axes, ranges)
    if found.available_v_per_us is not None:
        axes.axvline(found.available_v_per_us, 0.0, 1.0 - _CLASSES_SHARE, **style.THRESHOLD)
        axes.annotate(
            f"this stage\n{amount(found.available_v_per_us, 'V/us')}",
            (found.available_v_per_us, 0.5 * (1.0 - _CLASSES_SHARE)),
            xycoords=("data", "axes fraction"), xytext=(-6.0, 0.0), textcoords="offset points",
            ha="right", va="center", size=9.5,
        )  # fmt: skip


def _slope_claim(slopes: Sequence[float], available_v_per_us: float | None) -> str:
    if not slopes:
        return "No slope is known: there is no amplifier, or nothing was read"
    if available_v_per_us is None:
        return f"The steepest piece asks for {amount(max(slopes), 'V/us')}"
    margin = available_v_per_us / max(slopes)
    if margin >= 1.0:
        return f"The steepest is {times(margin)} below the slew rate"
    over = sum(slope > available_v_per_us for slope in slopes)
    verb = "asks" if over == 1 else "ask"
    return f"{over:,} of {len(slopes):,} {verb} for more than the slew rate"


def _class_slews() -> list[tuple[str, float, float, float]]:
    """Name, low, usual and high slew rate of each class in V/us, fastest first."""
    found = []
    for name, known in device_classes().items():
        figures = [figures.slew_rise for figures in (known.low, known.usual, known.high)]
        low, usual, high = (figure.value * 1e-6 for figure in figures if figure is not None)
        found.append((name, low, usual, high))
    return sorted(found, key=lambda row: -row[2])


def _draw_classes(axes: Axes, ranges: Sequence[tuple[str, float, float, float]]) -> None:
    at = axes.get_xaxis_transform()
    for row, (name, low, usual, high) in enumerate(ranges):
        place = 0.98 - (row + 0.5) * (_CLASSES_SHARE - 0.02) / len(ranges)
        axes.plot([low, high], [place, place], transform=at, **style.PART)
        axes.plot([usual], [place], transform=at, marker="|", markersize=9.0, color=style.INK)
        axes.annotate(
            name, (low, place), xycoords=at, xytext=(-6.0, 0.0), textcoords="offset points",
            ha="right", va="center", size=9.0, color=style.PENCIL,
        )  # fmt: skip


def _decades(axes: Axes, low: float, high: float) -> None:
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    steps = [d * 10.0**e for e in range(-9, 5) for d in (1.0, 2.0, 5.0)]
    if high - low > 3.0:
        steps = [10.0**e for e in range(-9, 5)]
    marks = [step for step in steps if 10.0 ** (low - 0.1) <= step <= 10.0**high]
    axes.xaxis.set_major_locator(FixedLocator(marks))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))


def _whole_marks(axes: Axes, most: int) -> None:
    from matplotlib.ticker import MaxNLocator

    marks = MaxNLocator(5, integer=True).tick_values(0, most)
    axes.set_yticks([mark for mark in marks if 0 < mark <= most and mark == int(mark)])


def draw_clipping(axes: Axes, found: Surveyed) -> None:
    """Draw how many pieces would clip at each position of the knob."""
    pieces = len(found.slopes_v_per_us)
    if found.clips_from is None or not pieces:
        told = f"{found.clipping:,} of {pieces:,} clip; there is no knob"
        style.claim(axes, told if pieces else "Nothing is known of clipping")
        axes.set_axis_off()
        return
    from_knob = sorted(position for position in found.clips_from if position is not None)
    style.claim(axes, _clip_claim(len(from_knob), len(found.clips_from)))
    x = 100.0 * np.array([0.0, *from_knob, 1.0])
    y = np.array([*range(len(from_knob) + 1), len(from_knob)])
    axes.step(x, y, where="post", **style.BASELINE)
    most = max(len(found.clips_from), 1)
    axes.set_xlim(0.0, 102.0)
    axes.set_ylim(0.0, 1.08 * most)
    axes.set_xlabel("knob, % of its travel")
    axes.set_ylabel("pieces that clip")
    axes.spines["bottom"].set_visible(True)
    _whole_marks(axes, most)
    axes.axhline(most, **style.THRESHOLD)
    axes.annotate(
        f"all {most:,} pieces", (0.0, most), xytext=(0.0, 4.0), textcoords="offset points",
        size=9.0, color=style.PENCIL, va="bottom",
    )  # fmt: skip
    if found.listening_knobs:
        knobs = 100.0 * np.array(found.listening_knobs)
        axes.plot(knobs, np.full(knobs.size, 0.022), transform=axes.get_xaxis_transform(),
                  linestyle="none", marker="|", markersize=12.0, color=style.PENCIL)  # fmt: skip
        axes.annotate(
            "where they play at\nthe listening level", (float(np.median(knobs)), 0.05),
            xycoords=axes.get_xaxis_transform(), xytext=(0.0, 4.0), textcoords="offset points",
            ha="center", va="bottom", size=9.0, color=style.PENCIL,
        )  # fmt: skip


def _clip_claim(clipping: int, pieces: int) -> str:
    if not clipping:
        return "Nothing clips at any position of the knob"
    verb = "clips" if clipping == 1 else "clip"
    return f"{clipping:,} of {pieces:,} {verb} with the knob at full"
