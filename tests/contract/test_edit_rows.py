"""Edits get the grades and the words that a listener would find right."""

from __future__ import annotations

from typing import Any

import pytest

from stagefx.difference.edits import Edit
from stagefx.hearing.grades import Grade
from stagefx.hearing.rows.edits import edit_rows, findings

RATE_HZ = 44100
SPL_DB = 100.0


def rows_of(*edits: Edit) -> dict[str, Any]:
    rows = edit_rows(edits, full_scale_spl_db=SPL_DB, room_dba=30.0, rate_hz=RATE_HZ)
    return {row.name: row for row in rows}


def edit(kind: str, length_s: float = 0.0, **more: Any) -> Edit:
    return Edit(kind=kind, at_s=3.2, length_s=length_s, **{"level_db": -20.0, **more})


@pytest.mark.parametrize(
    ("found", "grade"),
    [
        (edit("cut", 1 / RATE_HZ), Grade.SHOULD_NOT),  # never below what can be measured
        (edit("cut", 0.004), Grade.SHOULD_NOT),
        # A. Friberg, J. Sundberg, JASA 98 (5), 1995: a beat moved by 6 ms is noticed
        (edit("cut", 0.006), Grade.MAY),
        (edit("repeated", 0.02), Grade.MAY),
        (edit("cut", 0.1), Grade.WILL),
        (edit("inserted", 2.0), Grade.WILL),
        (edit("missing at the end", 3.0), Grade.WILL),
        (edit("missing at the beginning", 3.0), Grade.WILL),
        (edit("added at the end", 2.0), Grade.WILL),
        (edit("missing at the end", 0.05), Grade.BELOW),  # a little of the last fade
        (edit("missing at the end", 3.0, level_db=-75.0), Grade.BELOW),  # 25 dB SPL, a 30 dBA room
        (edit("added at the end", 2.0, level_db=None, silent=True), Grade.BELOW),
        (edit("added at the beginning", 2.0, level_db=None, silent=True), Grade.BELOW),
    ],
)
def test_grades_of_what_is_missing_or_too_much(found: Edit, grade: Grade) -> None:
    assert rows_of(found)["edits"].grade is grade


@pytest.mark.parametrize(
    ("kind", "amount", "row", "grade"),
    [
        ("speed", 0.1, "speed", Grade.SHOULD_NOT),
        ("speed", -0.5, "speed", Grade.MAY),
        ("speed", 2.0, "speed", Grade.WILL),
        ("wow", 0.05, "wow", Grade.SHOULD_NOT),
        ("wow", 0.35, "wow", Grade.WILL),
        ("exchanged channels", 0.3, "exchange", Grade.SHOULD_NOT),
        ("exchanged channels", 2.5, "exchange", Grade.WILL),
    ],
)
def test_grades_of_amounts(kind: str, amount: float, row: str, grade: Grade) -> None:
    assert rows_of(edit(kind, amount=amount))[row].grade is grade


def test_a_dead_channel_is_out_of_balance_and_called_dead() -> None:
    row = rows_of(edit("dead channel", channel=0))["balance"]
    assert row.grade is Grade.WILL
    assert row.sentence == "The left channel of the second is dead."


def test_without_edits_nothing_is_there_to_be_measured() -> None:
    assert {row.grade for row in rows_of().values()} == {Grade.BELOW}


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (edit("cut", 0.1), "100 ms of sound are cut out at 3.20 s."),
        (edit("cut", 1 / RATE_HZ), "1 sample of sound is cut out at 3.20 s."),
        (edit("repeated", 3 / RATE_HZ), "3 samples of sound are repeated at 3.20 s."),
        (edit("cut", 0.5, silent=True), "A silence is 500 ms shorter in the second, at 3.20 s."),
        (
            edit("repeated", 0.5, silent=True),
            "A silence is 500 ms longer in the second, at 3.20 s.",
        ),
        (
            edit("missing at the end", 3.33),
            "The last 3.33 s of sound are missing from the second, from 3.20 s on.",
        ),
        (
            edit("added at the beginning", 2.0, silent=True),
            "The second begins with 2.00 s of silence that the first does not have.",
        ),
        (
            edit("exchanged channels", amount=6.0),
            "Left and right are exchanged; they differ by 6.0 dB.",
        ),
        (
            edit("inverted channel", channel=1),
            "The right channel of the second has its polarity inverted.",
        ),
        (
            edit("direct voltage", channel=0, amount=-0.02),
            (
                "One version has direct voltage that the other has not in the left channel, 2 % of "
                "full scale: not heard, but it costs headroom."
            ),
        ),
        (edit("speed", amount=-0.5), "The second runs 0.5 % slow."),
        (edit("wow", amount=0.42), "The second has wow and flutter of 0.42 %, weighted peak."),
    ],
)
def test_each_is_one_plain_sentence(found: Edit, said: str) -> None:
    assert findings([found], rate_hz=RATE_HZ) == (said,)


def test_many_are_counted() -> None:
    cuts = [Edit("cut", 1.0 + n, 0.01, -20.0) for n in range(8)]
    assert rows_of(*cuts)["edits"].sentence.endswith("at 5.00 s. 3 more edits.")
