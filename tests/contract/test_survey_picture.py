"""The pictures of a survey show the numbers they were given."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from matplotlib.patches import Rectangle

from stagefx.circuit.description.devices import device_classes
from stagefx.report.plots.hearing.survey import Surveyed, draw_survey
from stagefx.report.plots.saving import save
from stagefx.report.plots.style import INK

SLOPES = (0.02, 0.021, 0.11, 0.5, 1.2)
FOUND = Surveyed(
    "a stage", "each played at 85 dB", SLOPES, 0.6, (0.4, None, 0.9, 0.9, None), 3, (0.3, 0.5), 2
)


def test_every_piece_stands_in_the_bar_of_its_slope() -> None:
    axes = draw_survey(FOUND).axes[0]
    bars = [patch for patch in axes.patches if isinstance(patch, Rectangle)]
    for slope in SLOPES:
        inside = [b for b in bars if b.get_x() <= slope < b.get_x() + b.get_width()]
        assert len(inside) == 1
        assert inside[0].get_height() >= 1.0
    assert sum(bar.get_height() for bar in bars) == len(SLOPES)
    low, high = axes.get_xlim()
    assert low < min(SLOPES)
    assert high > max(SLOPES)
    assert "V/us" in axes.get_xlabel()


def test_each_class_of_device_stands_where_its_slew_rates_are() -> None:
    axes = draw_survey(FOUND).axes[0]
    drawn = [tuple(line.get_xdata()) for line in axes.lines]
    named = {text.get_text() for text in axes.texts}
    for name, known in device_classes().items():
        low, usual, high = (f.slew_rise.value * 1e-6 for f in (known.low, known.usual, known.high))  # type: ignore[union-attr]
        assert name in named
        assert any(np.allclose(line, (low, high)) for line in drawn)
        assert any(np.allclose(line, (usual,)) for line in drawn if len(line) == 1)


def test_the_count_steps_up_where_a_piece_begins_to_clip() -> None:
    axes = draw_survey(FOUND).axes[1]
    (step,) = (line for line in axes.lines if line.get_drawstyle() == "steps-post")
    assert step.get_color() == INK
    x, y = np.asarray(step.get_xdata()), np.asarray(step.get_ydata())
    for knob, clipping in ((39.0, 0), (41.0, 1), (89.0, 1), (91.0, 3), (100.0, 3)):
        assert y[np.searchsorted(x, knob, side="right") - 1] == clipping
    assert "%" in axes.get_xlabel()


@pytest.mark.parametrize(
    ("changed", "claims"),
    [
        ({}, ("1 of 5 asks for more than the slew rate", "3 of 5 clip with the knob at full")),
        (
            {"available_v_per_us": 12.0, "clips_from": (None,) * 5},
            ("The steepest is 10 times below the slew rate", "Nothing clips at any position"),
        ),
        (
            {"available_v_per_us": None, "clips_from": None},
            ("The steepest piece asks for 1.2 V/us", "3 of 5 clip; there is no knob"),
        ),
        ({"slopes_v_per_us": (), "clips_from": ()}, ("No slope is known", "Nothing is known")),
    ],
)
def test_each_plot_is_headed_by_what_it_shows(
    changed: dict[str, object], claims: tuple[str, str], tmp_path: Path
) -> None:
    page = draw_survey(Surveyed(**{**FOUND.__dict__, **changed}))  # type: ignore[arg-type]
    for axes, claim in zip(page.axes, claims, strict=True):
        assert axes.get_title(loc="left").startswith(claim)
    save(page, tmp_path / "survey.png")
    assert "2 files could not be read" in page.texts[1].get_text()
