"""The pictures of an evidence page, each with its claim, its caption and its numbers as a table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from stagefx.audition.comparison import Comparison
from stagefx.dsp.bands import nominal_hz
from stagefx.figures.table import Figures
from stagefx.report.answer.waveform import Waveform
from stagefx.report.plots import style
from stagefx.report.plots.hearing.comparison import change_claim, draw_change
from stagefx.report.plots.stage.noise import bands_of_noise, draw_noise, noise_claim
from stagefx.report.plots.svg import inline_svg

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stagefx.report.answer.results import Answer

INCHES = (4.7, 3.1)
"""So small that its letters can still be read on a telephone."""
_PLACE = (0.15, 0.155, 0.575, 0.80)

_THIN_BASELINE: dict[str, Any] = {**style.BASELINE, "linewidth": 1.2}
_THIN_CHANGE: dict[str, Any] = {**style.CHANGE, "linewidth": 1.2}


@dataclass(frozen=True)
class Picture:
    """A picture that states its claim."""

    name: str
    claim: str
    caption: str
    svg: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def pictures_of(answer: Answer) -> tuple[Picture, ...]:
    """The pictures of an answer."""
    made = [_response(answer.piece.comparison)]
    if len(answer.figures) == 2 and all(one.stage.listening for one in answer.figures):
        made.append(_noise(*answer.figures))
    if answer.piece.waveform is not None:
        made.insert(1, _clipped(answer.piece.waveform))
    return tuple(made)


def _drawn(name: str, label: str, draw: Callable[[Axes], None]) -> str:
    from matplotlib.figure import Figure

    with style.drawing():
        made = Figure(figsize=INCHES)
        axes = made.add_axes(_PLACE)
        draw(axes)
        axes.set_title("", loc="left")
        axes.tick_params(labelsize=8.0)
        axes.xaxis.label.set_fontsize(9.0)
        axes.yaxis.label.set_fontsize(9.0)
        for text in axes.texts:
            text.set_fontsize(8.5)
    return inline_svg(made, name=name, label=label)


def _response(found: Comparison) -> Picture:
    claim = f"{change_claim(found)}."
    bands = found.difference.response.bands
    return Picture(
        "response",
        claim,
        "The change in third octaves re 1 kHz (plum), where it may be heard from (dotted), and "
        "what is too small to be found (hatched).",
        _drawn("response", claim, lambda axes: draw_change(axes, found)),
        ("third octave", "change, dB", "floor, dB"),
        tuple((nominal_hz(band.hz), _db(band.db), _db(band.floor_db)) for band in bands),
    )


def _called(figures: Figures, name: str) -> Figures:
    return replace(figures, stage=figures.stage.model_copy(update={"name": name}))


def _noise(first: Figures, second: Figures) -> Picture:
    first, second = _called(first, "baseline"), _called(second, "change")
    both = bands_of_noise(first), bands_of_noise(second)
    claim = f"{noise_claim(max(both, key=lambda bands: bands.loudest))}."
    columns = [bands.total for bands in both]
    if both[0].threshold is not None:
        columns.append(both[0].threshold)
    head = ("third octave", "baseline, dB SPL", "change, dB SPL", "threshold, dB SPL")
    return Picture(
        "noise",
        claim,
        "Noise at the seat in third octaves: baseline (solid), change (dashed), the threshold of "
        "hearing (dotted; ISO 389-7:2019), and the room where it is described (long dashes).",
        _drawn("noise", claim, lambda axes: draw_noise(axes, first, second)),
        head[: len(columns) + 1],
        tuple(
            (nominal_hz(float(hz)), *(f"{float(column[n]):.1f}" for column in columns))
            for n, hz in enumerate(both[0].hz)
        ),
    )


def _clipped(found: Waveform) -> Picture:
    clip_v = min(found.clip_high_v, -found.clip_low_v)
    claim = (
        f"The output stops at {clip_v:.1f} V where the music asks for {found.most_asked_v:.1f} V."
    )
    ms = 1000.0 * np.arange(found.asked_v.size) / found.rate_hz
    return Picture(
        "waveform",
        claim,
        f"The amplifier's output round {found.start_s:.3f} s: what the music asks for (solid, plum "
        "where it is lost), what comes out (dashed), and where it clips (dotted).",
        _drawn("waveform", claim, lambda axes: _draw_clipped(axes, found)),
        ("time", "asked for, V", "comes out, V"),
        tuple(
            (f"{t:.3f} ms", f"{asked:.3f}", f"{given:.3f}")
            for t, asked, given in zip(ms, found.asked_v, found.given_v, strict=True)
        ),
    )


def _draw_clipped(axes: Axes, found: Waveform) -> None:
    ms = 1000.0 * np.arange(found.asked_v.size) / found.rate_hz
    top = 1.1 * max(found.most_asked_v, found.clip_high_v, -found.clip_low_v)
    style.level_axis(axes, -top, top, label="amplifier's output, V")
    axes.set_xlim(0.0, float(ms[-1]))
    axes.set_xlabel("time, ms")
    beyond = (found.asked_v > found.clip_high_v) | (found.asked_v < found.clip_low_v)
    beyond[1:-1] |= beyond[:-2] | beyond[2:]
    axes.plot(ms, found.asked_v, **_THIN_BASELINE)
    axes.plot(ms, found.given_v, **_THIN_CHANGE)
    axes.plot(ms, np.where(beyond, found.asked_v, np.nan), color=style.PLUM, linewidth=2.2)
    for clip_v in (found.clip_high_v, found.clip_low_v):
        axes.axhline(clip_v, **style.THRESHOLD)
    clips = [(found.clip_high_v, "clips here"), (found.clip_low_v, "clips here")]
    ends = [(float(found.asked_v[-1]), "asked for"), *clips]
    style.name_ends(axes, ends, gap=0.075)


def _db(value: float | None) -> str:
    return "not measured" if value is None else f"{value:.4f}"
