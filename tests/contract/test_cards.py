"""Picture cards: one claim, one plot, large enough for a phone, with the results' own numbers."""

from __future__ import annotations

import math
import re
import struct
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure

from stagefx.audition.comparison import Comparison
from stagefx.audition.shortcuts import compare_files, compare_stages
from stagefx.circuit.description.files import load_stage, stage_from
from stagefx.circuit.description.stage import Stage
from stagefx.figures.table import compute_figures
from stagefx.report.plots.cards import draw_cards, draw_stage_cards, write_cards
from stagefx.report.plots.stage.cards import stage_card_plots
from stagefx.report.text.margins import margin_words, nearest_first
from stagefx.samples import samples_folder
from tests.contract.test_pictures import assert_nothing_collides, texts

SMALLEST_SHARE = 1 / 36
"""Of the picture's height, em of the smallest type (working assumption: on a phone held upright a
film is about 35 mm high, and 1 mm is the smallest type that is read with ease)."""
SAMPLES = samples_folder()
TRIO = SAMPLES / "music" / "trio.flac"


@pytest.fixture(scope="module", params=["passive-box", "quick", "same file"])
def compared(request: pytest.FixtureRequest) -> Comparison:
    if request.param == "same file":
        return compare_files(TRIO, TRIO, passage=(2.0, 3.0))
    stages = (load_stage(SAMPLES / "stages" / f"{n}.toml") for n in ("stock", request.param))
    return compare_stages(*stages, TRIO, passage=(2.0, 4.0))


def claim(figure: Figure) -> str:
    """A card's sentence as it was composed."""
    said = figure.texts[0].get_text().replace("\n", " ").replace("\N{NO-BREAK SPACE}", " ")
    return said.replace("\N{MINUS SIGN}", "-")


def assert_a_card(figure: Figure) -> None:
    width, height = figure.get_size_inches() * figure.dpi
    assert (round(width), round(height)) == (1920, 1080)
    for text in texts(figure):
        assert text.get_fontsize() / 72.0 * figure.dpi / height >= SMALLEST_SHARE, text.get_text()
    assert len(figure.axes) == 1
    assert figure.axes[0].get_title(loc="left") == ""
    assert figure.axes[0].get_legend() is None
    assert_nothing_collides(figure)


def test_a_comparison_s_cards_can_be_read_on_a_phone(compared: Comparison) -> None:
    cards = draw_cards(compared)
    assert {"distance", "response"} <= set(cards) <= {"distance", "response", "where"}
    for figure in cards.values():
        assert_a_card(figure)


def test_a_comparison_s_cards_say_what_its_table_says(compared: Comparison) -> None:
    cards = draw_cards(compared)
    nearest = nearest_first(compared.audibility)[0]
    if compared.difference.response.worst(20.0, 16e3).db == 0.0:  # type: ignore[union-attr]
        assert claim(cards["distance"]) == "Nothing that could be measured changed"
    else:
        assert nearest.name in claim(cards["distance"])
        assert margin_words(nearest) in claim(cards["distance"])
    rows = [label.get_text() for label in cards["distance"].axes[0].get_yticklabels()]
    assert rows == [row.name for row in nearest_first(compared.audibility)[:6]]
    assert compared.verdict.basis.capitalize() in cards["distance"].texts[1].get_text()


def test_the_moment_on_a_card_is_a_moment_of_the_piece() -> None:
    stages = (load_stage(SAMPLES / "stages" / f"{n}.toml") for n in ("stock", "passive-box"))
    found = compare_stages(*stages, TRIO, passage=(5.0, 6.0))
    card = draw_cards(found, start_s=5.0)["where"]
    moment = re.search(r"at ([\d.]+) s and", claim(card))
    assert moment is not None
    assert 5.0 <= float(moment[1]) <= 6.0
    assert card.axes[0].get_xlim()[0] == 5.0


@pytest.mark.parametrize("name", ["line-stage", "passive-control", "slow-early", "too-hot", "wire"])
def test_a_stage_s_cards_can_be_read_on_a_phone(name: str) -> None:
    stage = load_stage(name)
    stage = stage.model_copy(update={"name": f"{name} of a board whose name is long" * 3})
    for figure in draw_stage_cards(stage).values():
        assert_a_card(figure)


def test_the_clipping_card_agrees_with_the_figures_on_paper() -> None:
    stage = load_stage("line-stage")
    figures = {key: one.value for key, one in compute_figures(stage).figures.items()}
    said = claim(draw_stage_cards(stage)["clipping"])
    numbers = [float(text) for text in re.findall(r"-?\d+(?:\.\d+)?", said)]
    assert numbers == pytest.approx(
        [figures["clip_high_v"], figures["clip_low_v"], figures["source_headroom_db"]], rel=0.005
    )
    (card,) = (one for one in stage_card_plots(stage) if one.name == "clipping")
    assert card.lines[0].volts.max() == pytest.approx(figures["clip_high_v"], rel=1e-12)
    assert card.lines[0].volts.min() == pytest.approx(figures["clip_low_v"], rel=1e-12)
    assert card.lines[1].volts.max() > 1.9 * card.lines[0].volts.max()  # driven 6 dB over


def test_a_stage_that_cannot_clip_has_no_clipping_card() -> None:
    assert "clipping" not in draw_stage_cards(load_stage("wire"))


def resistor_and_capacitor() -> Stage:
    """10 kohm into 1 nF: a time constant of 10 us."""
    return stage_from(
        {
            "source": {"level": "2 V rms", "resistance": "10 kohm"},
            "load": {"resistance": "1 Gohm", "capacitance": "1 nF"},
        }
    )


def test_a_sweep_through_resistor_and_capacitor_falls_as_it_must() -> None:
    stage = resistor_and_capacitor()
    (card,) = (one for one in stage_card_plots(stage) if one.name == "sweep")
    hz = card.lines[0].x
    wanted = 2.0 * math.sqrt(2.0) / np.hypot(1.0, 2.0 * np.pi * hz * 10e3 * 1e-9)
    assert np.abs(card.lines[0].volts / wanted - 1.0).max() < 2e-5  # 10 kohm beside 1 Gohm
    assert np.array_equal(card.lines[1].volts, -card.lines[0].volts)
    down = 10.0 * math.log10(1.0 + (2.0 * math.pi * 20e3 * 1e-5) ** 2)
    down -= 10.0 * math.log10(1.0 + (2.0 * math.pi * 1e3 * 1e-5) ** 2)
    assert f"falls by {down:.2f} dB at 20 kHz" in claim(draw_stage_cards(stage)["sweep"])


def test_a_step_through_resistor_and_capacitor_takes_ln_9_time_constants() -> None:
    """10 to 90 % of an exponential: ln 9 = 2.197 time constants (textbook)."""
    (card,) = (one for one in stage_card_plots(resistor_and_capacitor()) if one.name == "square")
    said = re.search(r"rises in ([\d.]+) us", card.claim)
    assert said is not None
    assert float(said[1]) == pytest.approx(10.0 * math.log(9.0), rel=0.005)
    assert card.lines[0].volts.max() == pytest.approx(2.0 * math.sqrt(2.0), rel=1e-3)


def test_a_step_that_slews_says_so_with_the_stage_s_own_limit() -> None:
    stage = load_stage("bare-rails")
    available = compute_figures(stage).figures["slew_available_v_per_us"].value
    said = re.search(r"slews, at ([\d.]+) V/us", stage_card_plots(stage)[0].claim)
    assert said is not None
    assert available is not None
    assert 0.9 * available <= float(said[1]) <= 1.01 * available


def test_a_sweep_that_slews_ends_as_a_triangle() -> None:
    """Far beyond its slew limit S a sine becomes a triangle of peak S / 4f (textbook)."""
    stage = load_stage("line-stage")
    amplifier = stage.amplifier
    assert amplifier is not None
    from stagefx.units import parse

    slow = amplifier.model_copy(
        update={name: parse("0.02 V/us", "V/s") for name in ("slew_rise", "slew_fall")}
    )
    volume = stage.volume.model_copy(update={"position": 1.0}) if stage.volume else None
    stage = stage.model_copy(update={"amplifier": slow, "volume": volume})
    (card,) = (one for one in stage_card_plots(stage) if one.name == "sweep")
    output = np.abs(card.lines[0].volts[-1])
    behind = 10.0 ** (compute_figures(stage).figures["load_loss_db"].value / 20.0)  # type: ignore[operator]
    assert output == pytest.approx(0.02e6 / (4.0 * 20e3) * behind, rel=0.01)


def test_cards_are_written_as_full_screens_and_always_the_same(tmp_path: Path) -> None:
    stage = load_stage("line-stage")
    for name in ("one", "two"):
        written = write_cards(draw_stage_cards(stage), tmp_path / name)
    assert written == ("1-square.png", "2-sweep.png", "3-clipping.png")
    for name in written:
        data = (tmp_path / "one" / name).read_bytes()
        assert data == (tmp_path / "two" / name).read_bytes()
        assert struct.unpack(">II", data[16:24]) == (1920, 1080)  # PNG, third edition: IHDR
