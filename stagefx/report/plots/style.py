"""How pictures look: ink on paper, lines named at their ends, muted plum for the difference.

Baseline solid ink, change dashed ink, threshold dotted, floor hatched.  No legend, no frame.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAPER = "#fbf9f4"
INK = "#23201d"
PENCIL = "#6f6a63"
FAINT = "#d9d4ca"
PLUM = "#7a4a6b"
"""For the difference, and for nothing else."""

SENTENCE_FONT = ["STIXGeneral", "DejaVu Serif"]
LABEL_FONT = ["DejaVu Sans"]
SCREEN_INCHES = (12.8, 7.2)
SCREEN_DPI = 150
"""A sheet fills a 1920 × 1080 screen."""
MARGIN = 0.08
"""Left margin, as a share of a sheet's width."""

BASELINE: MappingProxyType[str, Any] = MappingProxyType({"color": INK, "linewidth": 2.0})
CHANGE: MappingProxyType[str, Any] = MappingProxyType(
    {"color": INK, "linewidth": 2.0, "dashes": (5.0, 2.5)}
)
PART: MappingProxyType[str, Any] = MappingProxyType({"color": PENCIL, "linewidth": 1.1})
THRESHOLD: MappingProxyType[str, Any] = MappingProxyType(
    {"color": INK, "linewidth": 1.4, "dashes": (1.0, 1.8)}
)

ROOM: MappingProxyType[str, Any] = MappingProxyType(
    {"color": PENCIL, "linewidth": 1.2, "dashes": (9.0, 3.0)}
)

_SETTINGS = {
    "axes.axisbelow": True,
    "axes.edgecolor": PENCIL,
    "axes.facecolor": "none",
    "axes.grid": True,
    "axes.labelcolor": PENCIL,
    "axes.labelsize": 10.0,
    "axes.linewidth": 0.8,
    "axes.spines.left": False,
    "axes.spines.right": False,
    "axes.spines.top": False,
    "axes.unicode_minus": True,
    "figure.facecolor": PAPER,
    "font.family": "sans-serif",
    "font.sans-serif": LABEL_FONT,
    "font.serif": SENTENCE_FONT,
    "font.size": 10.5,
    "grid.color": FAINT,
    "grid.linewidth": 0.7,
    "hatch.color": PENCIL,
    "hatch.linewidth": 0.6,
    "lines.solid_capstyle": "round",
    "savefig.dpi": SCREEN_DPI,
    "savefig.facecolor": PAPER,
    "svg.fonttype": "path",
    "svg.hashsalt": "stagefx",
    "text.color": INK,
    "text.parse_math": False,
    "xtick.color": PENCIL,
    "xtick.labelcolor": PENCIL,
    "xtick.labelsize": 9.5,
    "xtick.major.pad": 6.0,
    "xtick.major.size": 0.0,
    "xtick.minor.size": 0.0,
    "ytick.color": PENCIL,
    "ytick.labelcolor": PENCIL,
    "ytick.labelsize": 9.5,
    "ytick.major.size": 0.0,
}


@contextmanager
def drawing() -> Iterator[None]:
    """Draw in the house's manner inside this block, whatever the reader's own settings are."""
    import matplotlib as mpl

    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_SETTINGS)  # type: ignore[arg-type]
        yield


def sheet(title: str, under: str = "") -> Figure:
    """An empty sheet for a 1920 × 1080 screen."""
    from matplotlib.figure import Figure

    made = Figure(figsize=SCREEN_INCHES)
    made.text(MARGIN, 0.965, title, family=SENTENCE_FONT, size=21.0, va="top")
    made.text(MARGIN, 0.03, under, size=9.0, color=PENCIL, va="bottom")
    return made


def fault(page: Figure, text: str) -> None:
    """Say what is wrong, above everything else on a sheet."""
    if text:
        page.text(MARGIN, 0.909, text, size=10.5, weight="bold", va="top")


def claim(axes: Axes, text: str) -> None:
    """Head a plot with the sentence that it shows."""
    axes.set_title(text, loc="left", family=SENTENCE_FONT, size=14.5, color=INK, pad=12.0)


def frequency_axis(axes: Axes, low_hz: float, high_hz: float) -> None:
    """Put frequency along the foot of a plot, marked in steps of 1, 2 and 5."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    axes.set_xscale("log")
    axes.set_xlim(low_hz, high_hz)
    steps = [d * 10.0**e for e in range(7) for d in (1.0, 2.0, 5.0)]
    axes.xaxis.set_major_locator(FixedLocator([s for s in steps if low_hz <= s <= high_hz]))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(lambda hz, _: _frequency(hz)))
    axes.set_xlabel("frequency, Hz")
    axes.spines["bottom"].set_visible(True)


def _frequency(hz: float) -> str:
    return f"{hz / 1000.0:g}k" if hz >= 1000.0 else f"{hz:g}"


def level_axis(axes: Axes, low: float, high: float, *, label: str) -> None:
    """Put level up the side of a plot, its lowest mark left out where it would meet the foot's."""
    from matplotlib.ticker import MaxNLocator

    axes.set_ylim(low, high)
    axes.set_ylabel(label)
    marks = MaxNLocator(6, steps=[1.0, 2.0, 5.0, 10.0]).tick_values(low, high)
    axes.set_yticks([mark for mark in marks if low + 0.06 * (high - low) < mark <= high])


def name_ends(
    axes: Axes, ends: Sequence[tuple[float, str]], *, gap: float = 0.062, **kind: Any
) -> None:
    """Name lines beyond their right ends, apart from each other by at least a line of text."""
    low, high = axes.get_ylim()
    wanted = sorted((min(max((y - low) / (high - low), 0.04), 0.98), name) for y, name in ends)
    places = _apart([place for place, _ in wanted], gap)
    for place, (_, name) in zip(places, wanted, strict=True):
        axes.annotate(
            name, (1.0, place), xycoords="axes fraction", xytext=(6.0, 0.0),
            textcoords="offset points", va="center", size=9.5, annotation_clip=False,
            **({"color": INK} | kind),
        )  # fmt: skip


def _apart(places: Sequence[float], gap: float) -> list[float]:
    """Rising places moved as little as needed so that neighbours are a gap apart."""
    blocks: list[list[float]] = []  # each: sum of wanted first places, count, first place
    for place in places:
        blocks.append([place, 1.0, place])
        while len(blocks) > 1 and blocks[-1][2] < blocks[-2][2] + blocks[-2][1] * gap:
            total, count, _ = blocks.pop()
            before = blocks[-1]
            before[0] += total - before[1] * gap * count
            before[1] += count
            before[2] = before[0] / before[1]
    return [first + i * gap for _, count, first in blocks for i in range(int(count))]


def hatch(axes: Axes, x: Sequence[float], low: Sequence[float], high: Sequence[float]) -> None:
    """Hatch where nothing can be measured."""
    axes.fill_between(x, low, high, facecolor="none", edgecolor=PENCIL, hatch="////", linewidth=0.0)


def wrapped(text: str, width: int) -> str:
    r"""A text broken into lines."""
    return "\n".join(textwrap.wrap(text, width))
