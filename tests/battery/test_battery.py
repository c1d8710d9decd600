"""Every case of the battery: the grade is among those allowed, the cause named, nothing invented.

``STAGEFX_COUNTS=whole`` runs each on every piece, and on the folder that STAGEFX_TRUST_MUSIC names.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
import soundfile

from tests.battery.case import AT_EAR_DB, MAY, SHOULD, Case, Pair, Want
from tests.battery.cases import all_cases, in_short_run, short_run
from tests.battery.false_alarms import FEW
from tests.battery.found import GRADES, Edit, Found, Row, compare, read
from tests.battery.judging import faults
from tests.battery.pieces import Piece, folder_of_music, own_pieces, pieces_in
from tests.battery.running import outcomes, recordings
from tests.knocks.counts import WHOLE

CASES = [case for case in all_cases() if WHOLE or in_short_run(case)]


@cache
def pieces() -> dict[str, Piece]:
    return {one.name: one for one in own_pieces()}


@cache
def music() -> list[Piece]:
    folder = folder_of_music()
    return [] if folder is None else list(pieces_in(folder))


def pieces_for(case: Case) -> list[Piece]:
    return [*pieces().values(), *music()] if WHOLE else [short_run(case, pieces())]


def pair_of(case: Case) -> Pair:
    """A case on its piece of a short run."""
    piece = short_run(case, pieces())
    made = case.make(case.setting(piece, case.levels_db[0]))
    assert made is not None
    return made


@cache
def wanted(case: Case) -> Want:
    return pair_of(case).want


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_what_is_said_is_true(case: Case) -> None:
    found = [one for piece in pieces_for(case) for one in outcomes(case, piece)]
    assert found
    wrong = [
        f"{one.piece} at {one.listening_db:g} dB: {'; '.join(one.wrong)}"
        for one in found
        if not one.right
    ]
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize(
    "name",
    ["null/inverted", "cut/100 ms", "missing/first 3 s", "gap/10 ms of zeros", "level/x 0.9"],
)
def test_files_are_judged_as_the_audio_in_them(name: str, tmp_path: Path) -> None:
    """Written in floating point, so that nothing else differs."""
    case = next(case for case in all_cases() if case.name == name)
    places, kept = (tmp_path / "first.wav", tmp_path / "second.wav"), recordings(pair_of(case))
    for place, one in zip(places, kept, strict=True):
        soundfile.write(place, one.samples, one.rate_hz, subtype="DOUBLE")
    by_file = compare(*places, listening_db=AT_EAR_DB)
    in_memory = compare(*kept, listening_db=AT_EAR_DB)
    assert (by_file.rank, by_file.edits, by_file.lit) == (
        in_memory.rank, in_memory.edits, in_memory.lit,
    )  # fmt: skip
    assert by_file.probability == pytest.approx(in_memory.probability, abs=1e-9)


# --- the battery itself -----------------------------------------------------------------------

DEAF = Found(SHOULD)
"""A program that hears nothing and names nothing."""
LOUD = Found(3, 1.0, {name: Row(1.0, 3) for name in ("level", "high end", "events", "group delay")})
"""A program to which everything is a difference, of no cause."""
DULL = Found(MAY, 0.3, {"level": Row(0.1, SHOULD)})
"""A program that is never sure."""
REFUSING = Found(None)


def fails(want: Want, found: Found) -> bool:
    return any(faults(want, found))


def test_no_program_passes_by_always_saying_the_same() -> None:
    wants = [wanted(case) for case in all_cases() if not case.slow]
    for program, most in ((DEAF, 0.45), (LOUD, 0.2), (DULL, 0.45), (REFUSING, 0.1)):
        passed = sum(not fails(want, program) for want in wants)
        assert passed / len(wants) <= most, program


def test_every_case_can_be_failed() -> None:
    for case in all_cases():
        want = wanted(case)
        assert any(fails(want, program) for program in (DEAF, LOUD, REFUSING)), case.name


def test_nulls_and_faults_are_about_as_many() -> None:
    """In a short run, its false alarms among the nulls; what may be either counts nowhere."""
    wants = [wanted(case) for case in all_cases() if not case.slow]
    judged = [want for want in wants if want.refused == "never"]
    nulls = sum(want.most <= MAY for want in judged) + len(FEW)
    some_faults = sum(want.least >= SHOULD and want.most > MAY for want in judged)
    assert 0.8 <= nulls / some_faults <= 1.25, (nulls, some_faults)


def test_names_are_told_apart() -> None:
    names = [case.name for case in all_cases()]
    assert len(names) == len({*names})


# --- the reader -------------------------------------------------------------------------------


def test_a_comparison_is_read() -> None:
    row = {"name": "level", "value": 0.9, "grade": GRADES[2], "remark": ""}
    silent = {"name": "hum", "value": {"value": None, "reason": "no gap"}, "remark": "no gap"}
    result = {
        "verdict": {"grade": GRADES[3], "sentence": "It will."},
        "hearing": {"detection_probability": 0.7},
        "audibility": [row, {**silent, "grade": {"value": None, "reason": "not judged"}}],
        "edits": [{"kind": "cut", "at_s": 3.2, "length_s": 0.1, "level_db": -20.0}],
        "events": {"count": 2, "worst_db": 14.0, "at_s": [3.2, 4.0]},
        "balance_db": 0.1,
        "remarks": ["12 clicks"],
    }
    found = read(result)
    assert (found.grade, found.probability, found.lit) == ("will", 0.7, {"level"})
    assert found.edits == (Edit("cut", 3.2, 0.1),)
    assert (found.events, found.events_s, found.balance_db) == (2, (3.2, 4.0), 0.1)
    assert found.rows["hum"] == Row(None, None)
    assert "12 clicks" in found.said
