"""One sheet for the margins of a stage: how far each cause is from being heard."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stagefx.audition.margin import MOST, CauseMargin, Margin, headline
from stagefx.hearing.grades import Grade
from stagefx.hearing.wording import factor
from stagefx.report.plots import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MARKS = {Grade.WILL: "full", Grade.MAY: "left"}


def draw_margin(found: Margin) -> Figure:
    """Draw how far the cause of each effect is from being heard."""
    level = found.level_at_ear.listening_level_db
    under = (
        f"Calculated, at a listening level of {level:g} dB, with {found.music} through "
        f"'{found.stage}', from {found.start_s:.1f} to {found.stop_s:.1f} s. Each effect alone; "
        f"a dash: not heard even 10,000 times as bad."
    )
    with style.drawing():
        made = style.sheet("How much worse it could get", style.wrapped(under, 150))
        draw_causes(made.add_axes((0.24, 0.16, 0.46, 0.64)), found)
    return made


def draw_causes(axes: Axes, found: Margin) -> None:
    """Draw each cause as a share of what may be heard, the nearest at the top."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    rows = sorted((one for one in found.causes if one.grade_now), key=lambda one: one.size)
    style.claim(axes, headline(found).removesuffix("."))
    axes.set_xscale("log")
    axes.set_xlim(1.0 / MOST, 4.0)
    axes.set_ylim(len(rows) - 0.4, -0.9)
    axes.xaxis.set_major_locator(FixedLocator([10.0**-n for n in range(5)]))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(lambda share, _: _share(share)))
    axes.set_yticks(range(len(rows)), [one.cause for one in rows])
    axes.tick_params(axis="y", labelsize=11.0, labelcolor=style.INK, pad=11.0)
    axes.grid(visible=False)
    axes.set_xlabel("the cause as it is, re what may be heard")
    axes.axvline(1.0, color=style.INK, linewidth=1.4)
    axes.annotate("heard from here", (1.0, -0.9), xytext=(0.0, -3.0), ha="center", va="top",
                  textcoords="offset points", size=9.5, backgroundcolor=style.PAPER)  # fmt: skip
    for place, one in enumerate(rows):
        _draw_row(axes, place, one)


def _draw_row(axes: Axes, place: int, one: CauseMargin) -> None:
    axes.axhline(place, color=style.FAINT, linewidth=0.8, zorder=0.5)
    if one.factor is None:
        axes.plot([1.0 / MOST, 1.4 / MOST], [place, place], color=style.INK, linewidth=2.4)
    else:
        assert one.grade_now is not None
        axes.plot(1.0 / one.factor, place, marker="o", markersize=10.0, color=style.INK,
                  clip_on=False, fillstyle=_MARKS.get(one.grade_now, "none"),
                  markerfacecoloralt=style.PAPER, markeredgewidth=1.5)  # fmt: skip
    axes.annotate(_words(one), (1.0, place), xycoords=("axes fraction", "data"), va="center",
                  xytext=(8.0, 0.0), textcoords="offset points", size=10.0)  # fmt: skip


def _words(one: CauseMargin) -> str:
    if one.factor is None:
        return "more than 10,000 times to spare"
    if one.factor <= 1.0:
        return f"{one.grade_now} as it is"
    return f"{factor(one.factor)} to spare"


def _share(share: float) -> str:
    return "1" if share > 0.99 else f"1/{1.0 / share:,.0f}"
