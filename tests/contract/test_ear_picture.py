"""The ear's picture: its claims are its numbers, its threshold is drawn, it is always the same."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.text import Text

from stagefx.hearing.ear.account import EarAccount
from stagefx.hearing.ear.detection import EarPair
from stagefx.report.plots import style
from stagefx.report.plots.hearing.ear import course_claim, draw_ear, ear_claim
from stagefx.report.plots.saving import save

SIZES_DB = [0.0, 1e-7, 0.1, 0.2, 3.0]


def account(change_db: float, seconds: float = 3.0) -> EarAccount:
    music = 0.1 * np.random.default_rng(1).standard_normal((round(seconds * 48000), 2))
    pair = EarPair(48000, 2, 92.0)
    pair.add(music, music * 10.0 ** (change_db / 20.0))
    return pair.account()


def drawn_texts(figure: Figure) -> list[Text]:
    return [
        found
        for found in figure.findobj(Text)
        if isinstance(found, Text) and found.get_visible() and found.get_text().strip()
    ]


@pytest.mark.parametrize("change_db", SIZES_DB)
def test_no_text_runs_into_another_or_off_the_sheet(change_db: float) -> None:
    figure = draw_ear(account(change_db), start_s=3605.0, under="Calculated, at 85 dB.")
    with style.drawing():
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        boxes = [text.get_window_extent(canvas.get_renderer()) for text in drawn_texts(figure)]
    width, height = figure.bbox.width, figure.bbox.height
    assert all(box.x0 >= 0 and box.x1 <= width for box in boxes)
    assert all(box.y0 >= 0 and box.y1 <= height for box in boxes)
    assert not any(one.overlaps(other) for one, other in itertools.combinations(boxes, 2))


def test_claims_are_the_numbers() -> None:
    found = account(0.2)
    assert found.worst_steps_db is not None
    assert found.worst_s is not None
    claim = ear_claim(found, start_s=100.0)
    assert f"{-found.worst_steps_db:.0f} dB under a just-noticeable step" in claim
    assert f"{100.0 + found.worst_s:.1f} s" in claim
    assert f"{found.detection_probability:.2f}" in course_claim(found)
    assert "over a just-noticeable step" in ear_claim(account(3.0))
    assert course_claim(account(3.0)) == "Detection becomes all but certain"
    assert "under one in a million" in course_claim(account(1e-7))
    assert course_claim(account(0.005)) == "The probability of detection stays under 0.01"
    assert ear_claim(account(0.0)) == "To the ear, nothing differs at any moment"
    assert "too short to tell" in ear_claim(account(1.0, seconds=0.3))


def test_the_threshold_is_drawn_where_it_is_passed() -> None:
    for change_db, passed in ((0.2, False), (3.0, True)):
        figure = draw_ear(account(change_db))
        (outline,) = figure.axes[0].findobj(LineCollection)
        assert isinstance(outline, LineCollection)
        assert bool(outline.get_segments()) is passed
        for axes in figure.axes[1:]:
            assert any(line.is_dashed() for line in axes.lines)


def test_the_same_picture_is_the_same_file(tmp_path: Path) -> None:
    found = account(0.2)
    for name in ("one.png", "other.png", "one.svg"):
        save(draw_ear(found), tmp_path / name)
    assert (tmp_path / "one.png").read_bytes() == (tmp_path / "other.png").read_bytes()
    assert (tmp_path / "one.svg").stat().st_size < 1_000_000
