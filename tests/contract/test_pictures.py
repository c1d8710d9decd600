"""Pictures say what they show, in the house's manner, and nothing runs into anything else."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.text import Text

from stagefx.audition.comparison import Comparison
from stagefx.audition.shortcuts import compare_stages
from stagefx.circuit.description.files import load_stage, ready_made
from stagefx.errors import OutputError
from stagefx.figures.table import Figures, compute_figures
from stagefx.hearing.grades import Grade
from stagefx.report.plots import style
from stagefx.report.plots.hearing.comparison import MOST_ROWS, draw_comparison
from stagefx.report.plots.saving import save
from stagefx.report.plots.stage.figures import draw_figures
from stagefx.report.plots.stage.headroom import headroom_claim
from stagefx.report.plots.stage.level_plan import level_plan
from stagefx.report.plots.stage.noise import bands_of_noise
from stagefx.report.plots.stage.response import response_claim
from stagefx.report.text.margins import margin_words, nearest_first
from stagefx.samples import samples_folder

SCENARIO = [str(path) for path in sorted((samples_folder() / "stages").glob("*.toml"))]
PAIRS = [
    ("line-stage", "line-stage-quick"),
    ("line-stage", "passive-control"),
    ("too-hot", "thin-coupling"),
    ("passive-control", "wire"),
    ("bare-rails", "slow-early"),
]
INKS = {style.INK, style.PENCIL, style.FAINT}


def worked(name: str) -> Figures:
    return compute_figures(load_stage(name))


@pytest.fixture(
    params=[(name,) for name in (*ready_made(), "wire", *SCENARIO)] + PAIRS,
    ids=lambda names: "+".join(Path(name).stem for name in names),
)
def names(request: pytest.FixtureRequest) -> tuple[str, ...]:
    found: tuple[str, ...] = request.param
    return found


def texts(figure: Figure) -> Iterator[Text]:
    for found in figure.findobj(Text):
        assert isinstance(found, Text)
        if found.get_visible() and found.get_text().strip():
            yield found


def assert_nothing_collides(figure: Figure) -> None:
    with style.drawing():
        figure.set_dpi(style.SCREEN_DPI)
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        boxes = [(t.get_text(), t.get_window_extent(canvas.get_renderer())) for t in texts(figure)]
    width, height = figure.bbox.size
    for text, box in boxes:
        assert min(box.x0, box.y0) >= 0.0, text
        assert box.x1 <= width, text
        assert box.y1 <= height, text
    for (text, one), (other, two) in itertools.combinations(boxes, 2):
        across = min(one.x1, two.x1) - max(one.x0, two.x0)
        along = min(one.y1, two.y1) - max(one.y0, two.y0)
        assert across <= 1.0 or along <= 3.0, (text, other)


def test_texts_stay_on_the_sheet_and_apart_from_each_other(names: tuple[str, ...]) -> None:
    assert_nothing_collides(draw_figures(*map(worked, names)))


def test_long_names_and_ranges_find_room_too() -> None:
    stage = load_stage("line-stage").model_copy(update={"name": "a board whose name " * 8})
    figures = compute_figures(stage, spread=100)
    assert_nothing_collides(draw_figures(figures))
    assert_nothing_collides(draw_figures(figures, figures))


def test_every_plot_states_its_claim_and_its_units(names: tuple[str, ...]) -> None:
    figure = draw_figures(*map(worked, names))
    assert len(figure.axes) == (3 if len(names) == 1 else 4)
    for axes in figure.axes:
        assert len(axes.get_title(loc="left").split()) >= 4
        assert axes.get_legend() is None
        if axes.axison:
            assert "dB" in axes.get_ylabel()
            assert axes.get_xlabel() in {"frequency, Hz", ""}


def test_lines_are_ink_and_plum_is_kept_for_the_difference(names: tuple[str, ...]) -> None:
    figure = draw_figures(*map(worked, names))
    lines = [line for axes in figure.axes for line in axes.lines]
    assert {to_hex(line.get_color()) for line in lines} <= INKS
    filled = {
        to_hex(colour)
        for axes in figure.axes
        for patch in axes.collections
        for colour in np.atleast_2d(patch.get_facecolor())
    }
    assert (style.PLUM in filled) == (len(names) == 2)


def test_a_frequency_axis_is_marked_in_steps_of_1_2_and_5() -> None:
    figure = draw_figures(worked("line-stage"))
    marks = [label.get_text() for label in figure.axes[0].get_xticklabels()]
    assert marks[:6] == ["10", "20", "50", "100", "200", "500"]
    assert marks[-1] == "100k"


def test_the_threshold_of_hearing_and_the_room_are_drawn_where_noise_is() -> None:
    axes = draw_figures(worked("line-stage")).axes[1]
    named = {text.get_text() for text in axes.texts}
    assert {"threshold of hearing", "the room, 28 dBA", "all noise"} <= named


def test_the_reader_s_own_settings_change_nothing_and_are_kept(tmp_path: Path) -> None:
    with mpl.rc_context({"axes.facecolor": "red", "font.size": 30.0, "lines.linewidth": 9.0}):
        save(draw_figures(worked("wire")), tmp_path / "red.svg")
        assert mpl.rcParams["font.size"] == 30.0
    save(draw_figures(worked("wire")), tmp_path / "plain.svg")
    assert (tmp_path / "red.svg").read_bytes() == (tmp_path / "plain.svg").read_bytes()


@pytest.mark.parametrize("ending", ["png", "svg", "pdf"])
def test_the_same_picture_is_the_same_file(ending: str, tmp_path: Path) -> None:
    for name in ("one", "two"):
        save(draw_figures(worked("line-stage")), tmp_path / f"{name}.{ending}")
    first, second = ((tmp_path / f"{name}.{ending}").read_bytes() for name in ("one", "two"))
    assert first == second


def test_a_picture_is_never_put_over_another(tmp_path: Path) -> None:
    place = tmp_path / "stage.svg"
    place.write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="exists already"):
        save(draw_figures(worked("wire")), place)
    assert [path.name for path in tmp_path.iterdir()] == ["stage.svg"]
    assert place.read_text(encoding="utf-8") == "mine"


def test_a_name_in_any_script_or_with_signs_is_drawn_quietly(tmp_path: Path) -> None:
    stage = load_stage("wire").model_copy(update={"name": "\u821e\u53f0 $x_1$ \x1b[2J\n{}%"})
    save(draw_figures(compute_figures(stage)), tmp_path / "stage.png")


def test_a_fault_stands_above_the_plots() -> None:
    said = [text.get_text() for text in draw_figures(worked("bare-rails")).texts]
    assert any(text.startswith("First, a fault. ") for text in said)
    said = [text.get_text() for text in draw_figures(worked("line-stage")).texts]
    assert not any("fault" in text for text in said)


def test_the_band_of_a_spread_is_drawn() -> None:
    axes = draw_figures(compute_figures(load_stage("passive-control"), spread=100)).axes[0]
    assert "9 of 10 boards" in {text.get_text() for text in axes.texts}
    assert len(axes.collections) == 1


# --- comparisons ---


@pytest.fixture(scope="module", params=["quick", "passive-box"])
def comparison(request: pytest.FixtureRequest) -> Comparison:
    home = samples_folder()
    stages = [load_stage(home / "stages" / f"{name}.toml") for name in ("stock", request.param)]
    return compare_stages(*stages, home / "music" / "drums.flac", passage=(2.0, 5.0))


def test_a_comparison_s_picture_has_room_for_its_texts(comparison: Comparison) -> None:
    assert_nothing_collides(draw_comparison(comparison))


def test_a_comparison_s_picture_shows_the_judged_rows_the_nearest_first(
    comparison: Comparison,
) -> None:
    chart = draw_comparison(comparison).axes[1]
    shown = [label.get_text() for label in chart.get_yticklabels()]
    judged = nearest_first(comparison.audibility)[:MOST_ROWS]
    assert shown == [row.name for row in judged]
    words = {text.get_text() for text in chart.texts}
    assert {margin_words(row) for row in judged} <= words
    assert "heard from here" in words


def test_marks_tell_the_grade_by_their_shape(comparison: Comparison) -> None:
    chart = draw_comparison(comparison).axes[1]
    fills = [line.get_fillstyle() for line in chart.lines if line.get_marker() == "o"]
    rows = nearest_first(comparison.audibility)
    wanted = {Grade.WILL: "full", Grade.MAY: "left", Grade.SHOULD_NOT: "none"}
    assert fills == [wanted[row.grade] for row in rows if row.grade in wanted]


def test_the_floor_is_hatched_in_both_plots(comparison: Comparison) -> None:
    for axes in draw_comparison(comparison).axes:
        assert any(patch.get_hatch() for patch in axes.collections)


# --- claims ---


def test_the_headroom_ladder_follows_the_voltage() -> None:
    # 2 V from 100 ohm into 10 kohm parallel to 100 kohm, times 1 + 10/3.3
    stage = worked("slow-early")
    plan = {station.name: station for station in level_plan(stage)}
    output = plan["amplifier output"]
    assert output.full_scale_v_rms == pytest.approx(2.0 * 9090.909 / 9190.909 * 4.030303, rel=1e-4)
    assert output.headroom_db == pytest.approx(stage.figures["source_headroom_db"].value)


def test_a_stage_that_clips_is_said_to() -> None:
    assert headroom_claim(level_plan(worked("too-hot"))) == "full scale is 7.2 dB over clipping"


def test_a_passive_control_s_ladder_ends_at_rated_power() -> None:
    plan = level_plan(worked("passive-control"))
    assert [station.name for station in plan] == ["source", "power amplifier input", "speaker"]
    assert plan[1].limit_v_rms == pytest.approx(20.0 / 27.0)


def test_a_flat_response_is_said_in_hundredths_of_a_decibel() -> None:
    said = response_claim(worked("line-stage"))
    within = re.search(r"within (\d+\.\d\d) dB", said)
    assert within is not None
    assert 0.01 <= float(within[1]) <= 0.05


def test_the_worst_place_of_a_dull_response_is_named() -> None:
    figures = worked("passive-control")
    level = figures.figures["response_20_khz_db"].value
    assert level is not None
    assert response_claim(figures) == f"The level is {-level:.1f} dB down at 20 kHz, re 1 kHz"


def test_bands_of_noise_add_up_to_the_noise() -> None:
    figures = worked("too-hot")
    bands = bands_of_noise(worked("bare-rails"))
    assert not bands.at_seat
    total_v = float(np.sqrt(np.sum(10.0 ** (bands.total / 10.0))))
    noise_v = worked("bare-rails").figures["noise_20k_v_rms"].value
    assert noise_v is not None
    # 20 Hz to 17.8 kHz of a budget to 20 kHz: 0.5 dB less for white noise
    assert 20.0 * np.log10(total_v / noise_v) == pytest.approx(-0.5, abs=0.1)
    assert bands_of_noise(figures).room is not None
