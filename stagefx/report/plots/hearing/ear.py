"""Where in the music, and at which frequencies, a difference comes nearest to being heard."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stagefx.hearing.ear.account import EarAccount
from stagefx.report.plots import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.colors import Colormap
    from matplotlib.figure import Figure

FAINTEST_DB, STRONGEST_DB = -40.0, 20.0
"""Ends of the scale, re the just-noticeable step."""
_DEEP_PLUM = "#2e1727"
_MARKS_HZ = (100.0, 200.0, 500.0, 1e3, 2e3, 5e3, 10e3)
_FLOOR = 1e-6
"""Nothing smaller than this is told of a probability."""


def draw_ear(
    found: EarAccount, *, start_s: float = 0.0, title: str = "", under: str = ""
) -> Figure:
    """Draw the difference over time and frequency, and how likely it is noticed over time."""
    with style.drawing():
        made = style.sheet(title or "Where the difference comes nearest to being heard", under)
        draw_landscape(made.add_axes((style.MARGIN, 0.43, 0.76, 0.39)), found, start_s=start_s)
        if found.worst_steps_db is not None:
            _draw_scale(made.add_axes((0.875, 0.43, 0.012, 0.39)))
            draw_course(made.add_axes((style.MARGIN, 0.14, 0.76, 0.145)), found, start_s=start_s)
    return made


def ear_claim(found: EarAccount, *, start_s: float = 0.0) -> str:
    """What the map of a difference shows, as a sentence."""
    if found.reason:
        return f"The music is {found.reason}: too short to tell"
    if found.worst_steps_db is None or found.worst_s is None or found.worst_hz is None:
        return "To the ear, nothing differs at any moment"
    place = f"{start_s + found.worst_s:.1f} s and {_frequency(found.worst_hz)}"
    size = abs(found.worst_steps_db)
    if found.worst_steps_db < 0.0:
        return f"It stays {size:.0f} dB under a just-noticeable step, nearest at {place}"
    return f"It rises {size:.0f} dB over a just-noticeable step, most of all at {place}"


def _frequency(hz: float) -> str:
    return f"{hz / 1000.0:.1f} kHz" if hz >= 1000.0 else f"{hz:.0f} Hz"


def draw_landscape(axes: Axes, found: EarAccount, *, start_s: float = 0.0) -> None:
    """Draw how large the difference is at every moment in every band of the ear."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    style.claim(axes, ear_claim(found, start_s=start_s))
    if found.worst_steps_db is None:
        axes.set_axis_off()
        return
    picture = found.landscape
    times_s = np.asarray(start_s + picture.cell_s * np.arange(picture.cells + 1), np.float64)
    axes.pcolormesh(
        times_s, picture.edges_hz, picture.steps_db, cmap=_shades(), vmin=FAINTEST_DB,
        vmax=STRONGEST_DB, shading="flat", rasterized=True, zorder=0.6,
    )  # fmt: skip
    _outline(axes, times_s, picture.edges_hz, picture.steps_db > 0.0)
    axes.set_yscale("log")
    axes.set_ylim(picture.edges_hz[0], picture.edges_hz[-1])
    axes.yaxis.set_major_locator(FixedLocator(_MARKS_HZ))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_major_formatter(
        FuncFormatter(lambda hz, _: f"{hz / 1000.0:g}k" if hz >= 1000.0 else f"{hz:g}")
    )
    axes.set_ylabel("frequency, Hz")
    axes.set_xlim(times_s[0], times_s[-1])
    axes.set_xlabel("time, s")
    axes.grid(visible=False)


def _shades() -> Colormap:
    """Paper, then plum at the just-noticeable step, deep plum far above it."""
    from matplotlib.colors import LinearSegmentedColormap

    step = -FAINTEST_DB / (STRONGEST_DB - FAINTEST_DB)
    ends = [(0.0, style.PAPER), (step, style.PLUM), (1.0, _DEEP_PLUM)]
    return LinearSegmentedColormap.from_list("difference", ends)


def _outline(
    axes: Axes, x: NDArray[np.float64], y: NDArray[np.float64], inside: NDArray[np.bool_]
) -> None:
    """The threshold: a dotted line round the cells that are above it."""
    from matplotlib.collections import LineCollection

    padded = np.pad(inside, 1)
    rows, columns = np.nonzero(padded[1:, 1:-1] != padded[:-1, 1:-1])
    level = [[(x[c], y[r]), (x[c + 1], y[r])] for r, c in zip(rows, columns, strict=True)]
    rows, columns = np.nonzero(padded[1:-1, 1:] != padded[1:-1, :-1])
    upright = [[(x[c], y[r]), (x[c], y[r + 1])] for r, c in zip(rows, columns, strict=True)]
    axes.add_collection(
        LineCollection(level + upright, colors=style.INK, linewidths=0.7, linestyles="dotted")
    )


def _draw_scale(axes: Axes) -> None:
    """What the shades mean, the threshold drawn across."""
    shades = np.linspace(FAINTEST_DB, STRONGEST_DB, 241)
    axes.pcolormesh(
        [0.0, 1.0], shades, (shades[:-1, None] + shades[1:, None]) / 2.0, cmap=_shades(),
        vmin=FAINTEST_DB, vmax=STRONGEST_DB, rasterized=True,
    )  # fmt: skip
    axes.axhline(0.0, **style.THRESHOLD)
    axes.set_xticks([])
    axes.yaxis.tick_right()
    axes.set_yticks([-40.0, -20.0, 0.0, 20.0], ["-40 dB", "-20", "one step", "+20"])
    axes.grid(visible=False)


def course_claim(found: EarAccount) -> str:
    """What the course of a probability shows, as a sentence."""
    probability = found.detection_probability
    if probability is None or probability < _FLOOR:
        return "The probability of detection stays under one in a million"
    if probability < 0.01:
        return (
            f"The probability of detection stays under {10.0 ** np.ceil(np.log10(probability)):g}"
        )
    if probability > 0.99:
        return "Detection becomes all but certain"
    return f"Detection becomes as likely as {probability:.2f}"


def draw_course(axes: Axes, found: EarAccount, *, start_s: float = 0.0) -> None:
    """Draw how likely the difference is noticed, moment by moment."""
    style.claim(axes, course_claim(found))
    course = found.course.thinned(512)
    edges_s = start_s + course.step_s * np.arange(course.probability.size + 1)
    axes.stairs(
        course.probability, edges_s, baseline=0.0, fill=True, color=style.PLUM, linewidth=0.0
    )
    axes.axhline(0.5, **style.THRESHOLD)
    axes.set_ylim(0.0, 1.0)
    axes.set_yticks([0.0, 0.5, 1.0])
    axes.set_ylabel("probability")
    picture = found.landscape
    axes.set_xlim(start_s, start_s + picture.cell_s * picture.cells)
    axes.set_xlabel("time, s")
    axes.spines["bottom"].set_visible(True)
    style.name_ends(axes, [(0.5, "noticed every other time")])
