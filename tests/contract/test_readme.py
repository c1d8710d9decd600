"""What the README says is so."""

from __future__ import annotations

import doctest
from pathlib import Path

import pytest

from stagefx.audition.shortcuts import compare_stages
from stagefx.circuit.description.files import load_stage

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "samples"


def test_the_examples_in_python_run() -> None:
    failed, tried = doctest.testfile(str(ROOT / "README.md"), module_relative=False)
    assert tried > 0
    assert failed == 0


@pytest.mark.parametrize(
    ("change", "grade"), [("quick", "should not be heard"), ("passive-box", "will be heard")]
)
def test_the_first_question_has_the_answer_told(change: str, grade: str) -> None:
    stock = load_stage(SAMPLES / "stages" / "stock.toml")
    other = load_stage(SAMPLES / "stages" / f"{change}.toml")
    found = compare_stages(stock, other, SAMPLES / "music" / "trio.flac").as_json()
    assert found["verdict"]["grade"] == grade
    nearest = min(
        (row for row in found["audibility"] if isinstance(row["margin_db"], float)),
        key=lambda row: row["margin_db"],
    )
    assert nearest["name"] == ("noise" if change == "quick" else "high end")
