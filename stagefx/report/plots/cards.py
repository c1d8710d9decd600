"""Picture cards for a film: one claim, one plot, type that can be read on a phone."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from stagefx.audition.comparison import Comparison
from stagefx.circuit.description.stage import Stage
from stagefx.report.plots import style
from stagefx.report.plots.hearing.comparison import (
    change_claim,
    distance_claim,
    draw_change,
    draw_distance,
)
from stagefx.report.plots.hearing.ear import FAINTEST_DB, draw_landscape, ear_claim
from stagefx.report.plots.stage.cards import StageCard, stage_card_plots
from stagefx.report.text.margins import nearest_first
from stagefx.report.text.sentences import as_sentence

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

CARD_INCHES = (6.4, 3.6)
CARD_DPI = 300
"""Half a sheet's size at twice its density: 1920 × 1080 dots, all type twice as large."""
MOST_ROWS = 6
"""Of the distance chart, the nearest; more could not be read on a phone."""
_CLAIM_WIDTH = 56
_UNDER_WIDTH = 104
_ROW_WIDTH = 24
_ABOVE_ROWS = -1.6
_BLANK = f"Nothing to be seen: all of it is more than {-FAINTEST_DB:.0f} dB under one step"
_NO_BREAK = "\N{NO-BREAK SPACE}"


def draw_cards(found: Comparison, *, start_s: float = 0.0) -> dict[str, Figure]:
    """Draw a comparison as cards, one claim each."""
    from matplotlib.text import Annotation

    how = f"{found.verdict.basis.capitalize()}, {', '.join(found.verdict.conditions)}."
    cards: dict[str, Figure] = {}
    with style.drawing():
        nearest = replace(found, audibility=tuple(nearest_first(found.audibility)[:MOST_ROWS]))
        if nearest.audibility:
            cards["distance"], axes = _card(distance_claim(found), how, (0.2, 0.45))
            draw_distance(axes, nearest)
            _untitled(axes)
            axes.set_ylim(len(nearest.audibility) - 0.4, _ABOVE_ROWS)
            axes.set_xticks([-80.0, -40.0, 0.0])
            for text in axes.texts:
                assert isinstance(text, Annotation)
                text.set_text(style.wrapped(text.get_text(), _ROW_WIDTH))
                if text.xy[1] < 0.0:  # above the first row
                    text.xy = (text.xy[0], _ABOVE_ROWS)
        if found.difference.response.worst(20.0, 16e3) is not None:
            cards["response"], axes = _card(change_claim(found), how, (0.125, 0.665))
            draw_change(axes, found)
            _untitled(axes)
            _fewer_frequencies(axes)
        ear = found.heard.pair
        if ear.worst_steps_db is not None:
            under = f"The darker, the nearer to being heard; dotted: over one step. {how}"
            claim = ear_claim(ear, start_s=start_s).replace("It ", "The difference ", 1)
            cards["where"], axes = _card(claim, under, (0.125, 0.815))
            draw_landscape(axes, ear, start_s=start_s)
            _untitled(axes)
            if ear.worst_steps_db < FAINTEST_DB:
                axes.text(0.5, 0.5, _BLANK, transform=axes.transAxes, ha="center", va="center",
                          size=10.0, color=style.PENCIL)  # fmt: skip
    return cards


def draw_stage_cards(stage: Stage) -> dict[str, Figure]:
    """Draw what a scope would show of a stage, as cards, one claim each."""
    with style.drawing():
        return {plot.name: _stage_card(plot) for plot in stage_card_plots(stage)}


def write_cards(cards: Mapping[str, Figure], folder: Path) -> tuple[str, ...]:
    """Write cards as pictures of 1920 × 1080 dots."""
    from stagefx.report.plots.saving import save

    folder.mkdir(exist_ok=True)
    names = tuple(f"{n}-{name}.png" for n, name in enumerate(cards, start=1))
    for name, figure in zip(names, cards.values(), strict=True):
        save(figure, folder / name)
    return names


def _card(claim: str, under: str, across: tuple[float, float]) -> tuple[Figure, Axes]:
    """A card with its claim on top, and where to draw under it."""
    from matplotlib.figure import Figure

    made = Figure(figsize=CARD_INCHES, dpi=CARD_DPI)
    lines = style.wrapped(_kept_together(as_sentence(claim)), _CLAIM_WIDTH)
    made.text(0.045, 0.95, lines, family=style.SENTENCE_FONT, size=17.0, va="top", linespacing=1.15)
    foot = style.wrapped(under, _UNDER_WIDTH)
    rows = foot.count("\n") + 1 if foot else 0
    made.text(0.045, 0.03, foot, size=8.0, color=style.PENCIL, va="bottom", linespacing=1.25)
    bottom = 0.175 + 0.042 * rows
    top = 0.83 - 0.085 * lines.count("\n")
    left, width = across
    return made, made.add_axes((left, bottom, width, top - bottom))


def _kept_together(text: str) -> str:
    """Numbers with their minus signs, and on one line with their units."""
    signed = re.sub(r"(?<![\w.])-(?=\d)", "\N{MINUS SIGN}", text)
    return re.sub(r"(?<=\d) (?=\S)", _NO_BREAK, signed)


def _untitled(axes: Axes) -> None:
    """The card says it already."""
    axes.set_title("", loc="left")


def _fewer_frequencies(axes: Axes) -> None:
    marks = {20.0: "20", 100.0: "100", 500.0: "500", 2e3: "2k", 10e3: "10k", 100e3: "100k"}
    low, high = axes.get_xlim()
    inside = {hz: text for hz, text in marks.items() if low <= hz <= high}
    axes.set_xticks(list(inside), list(inside.values()))


def _stage_card(plot: StageCard) -> Figure:
    made, axes = _card(plot.claim, plot.under, (0.125, 0.645))
    low = min(*(float(line.volts.min()) for line in plot.lines), *plot.levels.values(), 0.0)
    high = max(*(float(line.volts.max()) for line in plot.lines), *plot.levels.values(), 0.0)
    room = 0.08 * max(high - low, 1e-9)
    style.level_axis(axes, low - room, high + room, label=plot.vertical)
    x = plot.lines[0].x
    if plot.frequency:
        style.frequency_axis(axes, float(x[0]), float(x[-1]))
        _fewer_frequencies(axes)
    else:
        axes.set_xlim(float(x[0]), float(x[-1]))
        axes.set_xlabel(plot.across)
        axes.spines["bottom"].set_visible(True)
    ends = []
    for line in plot.lines:
        axes.plot(line.x, line.volts, **(style.CHANGE if line.asked else style.BASELINE))
        if line.name:
            ends.append((float(line.volts[-1]) if line.end is None else line.end, line.name))
    for name, volts in plot.levels.items():
        axes.axhline(volts, **style.THRESHOLD)
        ends.append((volts, name))
    style.name_ends(axes, ends, gap=0.19 if any("\n" in name for _, name in ends) else 0.1)
    return made
