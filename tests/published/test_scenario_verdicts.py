"""Five questions of the trade, put to the scenario, get the answers the trade gives.

Planning figures are common practice: half a decibel at 20 Hz or at 20 kHz alone is not heard, two
decibels at 20 kHz and 0.7 at 10 kHz will be heard by some as duller, clipping on its source is a
fault, and a healthy device in place of another is not heard.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from stagefx.audition.comparison import Comparison
from stagefx.audition.shortcuts import compare_stages
from stagefx.circuit.description.files import load_stage
from stagefx.circuit.description.stage import Stage
from stagefx.hearing.audibility import AudibilityRow
from stagefx.hearing.grades import Grade
from stagefx.samples import samples_folder
from stagefx.units import Quantity

HOME = samples_folder()
DRUMS = HOME / "music" / "drums.flac"
PASSAGE = (2.0, 5.0)


def stock() -> Stage:
    return load_stage(HOME / "stages" / "stock.toml")


def against(other: Stage | str, *, first: Stage | None = None, music: Path = DRUMS) -> Comparison:
    second = load_stage(HOME / "stages" / f"{other}.toml") if isinstance(other, str) else other
    return compare_stages(first or stock(), second, music, passage=PASSAGE)


def rows_of(found: Comparison) -> dict[str, AudibilityRow]:
    return {row.name: row for row in found.audibility}


def changed(stage: Stage, table: str, **values: object) -> Stage:
    """A stage with other values in one of its tables."""
    return stage.model_copy(update={table: getattr(stage, table).model_copy(update=values)})


def test_the_quick_board_should_not_be_heard() -> None:
    found = against("quick")
    assert found.verdict.grade is Grade.SHOULD_NOT
    assert found.verdict.flips_at.row == "noise"
    rows = rows_of(found)
    # what the program gave when this was written: it guards against change and proves nothing
    assert rows["noise"].margin_db == pytest.approx(33.7, abs=1.5)
    # a swap of healthy devices moves the treble by less than a hundredth of a decibel
    assert rows["high end"].value is not None
    assert rows["high end"].value < 0.01
    assert rows["remainder"].grade is Grade.BELOW


def test_higher_rails_should_not_be_heard_where_nothing_clips() -> None:
    rails = changed(stock(), "supply", positive=Quantity(18.0), negative=Quantity(-18.0))
    found = against(rails)
    assert found.verdict.grade.rank <= Grade.SHOULD_NOT.rank
    rows = rows_of(found)
    assert rows["remainder"].value is not None
    assert rows["remainder"].value < -80.0
    assert found.renders[0].clipped_frames == (0, 0)


def box_by_hand(found: Comparison) -> float:
    """Treble lost re 1 kHz: the track above and below the wiper, and the load, drive the cable.

    An audio control of 15 % rises by two straight lines; R C by hand (common practice).
    """
    position = found.renders[1].knob_position
    assert isinstance(position, float)
    assert position > 0.5
    share = 0.15 + (position - 0.5) * 2.0 * 0.85
    above, below, load = 100.0 + 50e3 * (1.0 - share), 50e3 * share, 22e3
    resistance = 1.0 / (1.0 / above + 1.0 / below + 1.0 / load)
    corner_hz = 1.0 / (2.0 * math.pi * resistance * (20.0 * 100e-12 + 220e-12))

    def lost_db(hz: float) -> float:
        return 10.0 * math.log10(1.0 + (hz / corner_hz) ** 2)

    return lost_db(1000.0 * 10.0**1.2) - lost_db(1000.0)


def test_a_passive_box_on_a_long_cable_will_be_heard_as_duller() -> None:
    found = against("passive-box")
    assert found.verdict.grade is Grade.WILL
    assert found.verdict.flips_at.row == "high end"
    rows = rows_of(found)
    assert rows["high end"].direction == "down"
    assert rows["high end"].margin_db == pytest.approx(-11.1, abs=0.5)
    assert rows["high end"].value == pytest.approx(box_by_hand(found), abs=0.02)
    assert rows["ear model"].grade is Grade.WILL
    assert rows["low end"].grade is Grade.SHOULD_NOT


def test_the_same_box_beside_the_amplifier_is_much_nearer() -> None:
    far, near = rows_of(against("passive-box")), rows_of(against("passive-box-near"))
    assert far["high end"].margin_db is not None
    assert near["high end"].margin_db is not None
    assert near["high end"].margin_db > far["high end"].margin_db + 12.0


def test_coupling_capacitors_that_are_too_small_may_be_heard_in_the_bass() -> None:
    # two corners: 100 nF before 47.1 kohm at 33.8 Hz, 470 nF before 10.1 kohm at 33.5 Hz
    found = compare_stages(
        load_stage("unity-buffer"), load_stage("thin-coupling"), DRUMS, passage=PASSAGE
    )
    rows = rows_of(found)
    assert rows["low end"].grade is Grade.WILL
    assert rows["low end"].direction == "down"
    at_hz = rows["low end"].at_hz
    assert at_hz is not None
    down_db = sum(10.0 * math.log10(1.0 + (corner / at_hz) ** 2) for corner in (33.8, 33.5))
    assert rows["low end"].value == pytest.approx(down_db, abs=0.4)
    assert found.verdict.grade.rank >= Grade.MAY.rank
    assert found.verdict.flips_at.row in {"low end", "middle"}


def test_a_source_that_is_too_hot_clips_and_may_be_heard() -> None:
    hot = load_stage("too-hot")
    assert hot.source.level is not None
    cool = changed(hot, "source", level=Quantity(hot.source.level.value / 4.0))
    found = against(hot, first=cool)
    assert found.verdict.grade.rank >= Grade.MAY.rank
    assert "clips" in found.verdict.sentence
    rows = rows_of(found)
    assert rows["remainder"].value is not None
    assert rows["remainder"].value > -40.0
    assert max(found.renders[0].clipped_frames) == 0 < max(found.renders[1].clipped_frames)
