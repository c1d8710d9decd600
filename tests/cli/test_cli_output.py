"""What goes to standard output: JSON that is JSON, and text fit to be kept."""

from __future__ import annotations

import io
import json
import math
import os
import subprocess
from pathlib import Path

import pytest

from stagefx.report.text.numbers import amount, times
from stagefx_cli.output import as_text, paper, progress
from stagefx_cli.printing.plain_values import number, reason, told
from tests.cli.running import STAGEFX


def test_a_number_that_is_not_finite_is_a_null_with_its_reason() -> None:
    found = json.loads(as_text({"up": math.inf, "down": -math.inf, "none": [math.nan], "one": 1.0}))
    assert found == {
        "up": {"value": None, "reason": "infinite"},
        "down": {"value": None, "reason": "minus infinity"},
        "none": [{"value": None, "reason": "not a number"}],
        "one": 1.0,
    }


def test_square_brackets_and_colons_mean_themselves() -> None:
    file = io.StringIO()
    paper(file).print("[volume] :smile: [bold]loud[/bold]")
    assert file.getvalue() == "[volume] :smile: [bold]loud[/bold]\n"


def test_lines_end_where_their_words_end() -> None:
    file = io.StringIO()
    paper(file).print("one  \ntwo ")
    assert file.getvalue() == "one\ntwo\n"


def test_there_is_no_progress_where_standard_error_is_no_terminal() -> None:
    with progress("working") as told_of:
        assert told_of is None


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (1.5, "dB", "1.50 dB"),
        ([1.25, 2.5], "V peak", "1.25 | 2.5 V peak"),
        ([0.5e-3, 2.5], "V peak", "500 uV peak | 2.5 V peak"),
        ([3.0, 3.0], "V/us", "3 V/us"),
        ({"value": None, "reason": "infinite"}, "dB", "-"),
        (None, "dB", "-"),
    ],
)
def test_plain_values_are_told_with_their_unit(value: object, unit: str, text: str) -> None:
    assert told(value, unit) == text


def test_the_largest_of_several_and_the_first_reason_are_read_back() -> None:
    assert number([1.0, {"value": None, "reason": "unknown"}, 3.0]) == 3.0
    assert reason([1.0, {"value": None, "reason": "unknown"}]) == "unknown"
    assert number({"value": None, "reason": "unknown"}) is None


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (-0.0001, "dB", "0.000 dB"),
        (-0.0012, "dB", "-0.001 dB"),
        (9.996, "dB", "10.0 dB"),
        (0.02, "deg", "0.0 deg"),
        (-93.2, "deg", "-93.2 deg"),
        (0.31, "Hz", "0.31 Hz"),
        (2e-6, "V", "2 uV"),
        (0.2, "V p-p", "200 mV p-p"),
        (-math.inf, "dB", "none"),
    ],
)
def test_amounts_have_the_digits_a_reader_can_use(value: float, unit: str, text: str) -> None:
    assert amount(value, unit) == text


@pytest.mark.parametrize(
    ("factor", "text"),
    [
        (1.26, "1.3 times"),
        (9.96, "10 times"),
        (4612.0, "4,600 times"),
        (2e4, "more than 10,000 times"),
    ],
)
def test_factors_have_two_digits(factor: float, text: str) -> None:
    assert times(factor) == text


def test_what_a_terminal_cannot_show_is_shown_otherwise(tmp_path: Path) -> None:
    stage = tmp_path / "desk.toml"
    stage.write_text('name = "“desk” 4"\n[source]\nlevel = "2 V rms"\n', encoding="utf-8")
    done = subprocess.run(
        [*STAGEFX, "figures", str(stage)],
        capture_output=True,
        check=False,
        env={**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"},
    )
    assert done.returncode == 0, done.stderr
    assert b"?desk? 4" in done.stdout
