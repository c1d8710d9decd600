"""What is found is judged as it is wanted: each sort of fault is seen, and no other."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.battery.case import (
    BELOW,
    MAY,
    SHOULD,
    WILL,
    Naming,
    Want,
    edit,
    either,
    event,
    lit,
    not_edit,
    reads,
    said,
)
from tests.battery.found import Edit, Found, Row
from tests.battery.judging import allowed, faults

FOUND = Found(
    MAY,
    0.4,
    {"level": Row(0.9, MAY), "group delay": Row(0.5, SHOULD), "ear model": Row(0.4, MAY)},
    (Edit("cut", 3.2, 0.1), Edit("inverted polarity", None, None)),
    events=2,
    events_s=(1.0, 5.0),
    balance_db=-0.3,
    said="A tone at 21 kHz is named.",
)
WANT = Want(MAY, WILL, lit=frozenset({"level"}))


def test_what_is_wanted_has_no_fault() -> None:
    assert not [*faults(WANT, FOUND)]


@pytest.mark.parametrize(
    ("want", "found", "fault"),
    [
        (Want(WILL, WILL), FOUND, "grade 'may', allowed will"),
        (Want(BELOW, SHOULD), FOUND, "grade 'may', allowed below|should"),
        (replace(WANT, probability=0.3), FOUND, "p 0.40 over 0.3"),
        (replace(WANT, lit=frozenset()), FOUND, "row 'level' lit"),
        (replace(WANT, balance_within_db=0.2), FOUND, "balance -0.30 dB"),
        (replace(WANT, named=(lit("noise"),)), FOUND, "not named: row 'noise' lit"),
        (WANT, Found(None, said="not the same music"), "refused: not the same music"),
        (Want(refused="must"), FOUND, "not refused, but given 'may'"),
        (WANT, Found(None, crashed=True, said="ValueError"), "crashed: ValueError"),
        (Want(refused="must"), Found(None, crashed=True, said="ValueError"), "crashed: ValueError"),
    ],
)
def test_a_fault_is_seen(want: Want, found: Found, fault: str) -> None:
    assert [*faults(want, found)] == [fault]


@pytest.mark.parametrize("refused", ["must", "allowed"])
def test_a_refusal_is_right_where_it_is_wanted(refused: str) -> None:
    assert not [*faults(Want(WILL, WILL, refused=refused), Found(None))]  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "naming",
    [
        edit("cut"),
        edit("repeated", "cut", at_s=3.25, length_s=0.105),
        edit("inverted polarity"),
        event(5.03),
        event(0.0, 1.0, count=2),
        lit("level"),
        reads("group delay", 0.4, 0.6),
        either(lit("noise"), edit("cut")),
        said(r"\b21 khz"),
        not_edit("exchanged channels"),
    ],
    ids=lambda naming: naming.what,
)
def test_what_is_told_is_taken_for_told(naming: Naming) -> None:
    assert naming.told(FOUND)


@pytest.mark.parametrize(
    "naming",
    [
        edit("speed"),
        edit("cut", at_s=3.31),
        edit("cut", at_s=3.2, length_s=0.08),
        edit("inverted polarity", at_s=0.0),
        event(5.06),
        event(5.0, count=3),
        lit("group delay"),
        lit("ear model"),
        reads("group delay", 0.6, 0.8),
        reads("hum", 0.0, 1.0),
        either(lit("noise"), edit("speed")),
        said(r"\b18 khz"),
        not_edit("cut", "speed"),
    ],
    ids=lambda naming: naming.what,
)
def test_what_is_not_told_is_missed(naming: Naming) -> None:
    assert not naming.told(FOUND)


def test_allowed_grades_are_shown() -> None:
    assert allowed(Want(BELOW, SHOULD)) == "below|should"
    assert allowed(Want()) == "any"
    assert allowed(Want(refused="must")) == "refused"
