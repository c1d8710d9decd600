"""Two stages compared by music, against what their networks come to on paper."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from stagefx.audition.comparison import Comparison
from stagefx.audition.shortcuts import compare_stages
from stagefx.circuit.circuit import Circuit, nominal
from stagefx.circuit.description.files import load_stage
from stagefx.circuit.knob import set_knob
from stagefx.circuit.response import Response
from stagefx.hearing.grades import Grade

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def music(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Eight seconds of the drums."""
    place = tmp_path_factory.mktemp("music") / "drums.wav"
    samples, rate_hz = soundfile.read(SAMPLES / "music" / "drums.flac", dtype="int16")
    soundfile.write(place, samples[6 * rate_hz : 14 * rate_hz], rate_hz)
    return place


def compared(first: str, second: str, music: Path) -> tuple[Comparison, list[Circuit]]:
    stages = [load_stage(SAMPLES / "stages" / f"{name}.toml") for name in (first, second)]
    return compare_stages(*stages, music), [set_knob(nominal(stage)).circuit for stage in stages]


def on_paper(circuits: list[Circuit], hz: list[float]) -> np.ndarray:
    """Response of the second stage re the first's, and re 1 kHz, in dB."""
    first, second = (
        20.0 * np.log10(np.abs(Response(each, np.array([1000.0, *hz])).to_load[0]))
        for each in circuits
    )
    return (second - first)[1:] - (second - first)[0]


def test_the_music_shows_the_response_that_the_networks_have(music: Path) -> None:
    found, circuits = compared("stock", "quick", music)
    bands = [(band.hz, band.db) for band in found.difference.response.bands if band.db is not None]
    assert len(bands) >= 29
    measured = np.array([db for _, db in bands])
    assert np.abs(measured - on_paper(circuits, [hz for hz, _ in bands])).max() < 0.02


def test_a_quick_board_should_not_be_heard(music: Path) -> None:
    found, _ = compared("stock", "quick", music)
    assert found.verdict.grade is Grade.SHOULD_NOT
    assert found.difference.remainder_db is not None
    assert found.difference.remainder_db < -100.0


def test_a_passive_box_with_its_long_cable_is_heard_at_the_high_end(music: Path) -> None:
    found, _ = compared("stock", "passive-box", music)
    rows = {row.name: row for row in found.audibility}
    assert found.verdict.grade is Grade.WILL
    assert found.verdict.flips_at.row == "high end"
    assert rows["high end"].direction == "down"
    assert rows["high end"].value is not None
    assert rows["high end"].value > 1.0
    assert rows["low end"].grade.rank < Grade.MAY.rank
    assert rows["noise"].grade is Grade.SHOULD_NOT


def test_a_stage_against_itself_leaves_nothing(music: Path) -> None:
    found, _ = compared("stock", "stock", music)
    assert found.verdict.grade is Grade.BELOW
    assert found.difference.null_db.plain == -np.inf
