"""A hundred thousand bad files: each is read, or refused in one clear sentence."""

from __future__ import annotations

import random
import signal
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from stagefx.errors import StagefxError
from tests.knocks.counts import count
from tests.knocks.mutations import spoilt
from tests.knocks.readers import READERS

LONGEST_S = 10
LONGEST_MESSAGE = 2000
ALL = 100_000


@contextmanager
def no_longer_than(seconds: int) -> Iterator[None]:
    def too_long(*_: object) -> None:
        raise TimeoutError(f"still at it after {seconds} s")

    before = signal.signal(signal.SIGALRM, too_long)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def judge(kind: str, place: Path) -> bool:
    """Whether a file is refused, and if so, that this is done well."""
    with warnings.catch_warnings(), no_longer_than(LONGEST_S):
        warnings.simplefilter("error")
        try:
            READERS[kind].read(place)
        except StagefxError as error:
            said = str(error)
            assert said.strip(), "says nothing"
            assert len(said) < LONGEST_MESSAGE, f"says {len(said)} characters: {said[:200]}"
            return True
    return False


@pytest.mark.parametrize("kind", READERS)
def test_whole_files_are_read(kind: str, tmp_path: Path) -> None:
    for specimen in READERS[kind].specimens():
        place = tmp_path / f"whole{READERS[kind].ending}"
        place.write_bytes(specimen)
        if kind == "quantity":
            continue  # one text for four units: three of them refuse it
        assert not judge(kind, place), specimen[:200]


@pytest.mark.parametrize("kind", READERS)
def test_bad_files_are_read_or_refused(kind: str, tmp_path: Path) -> None:
    reader, dice, refused = READERS[kind], random.Random(kind), 0
    specimens, place = reader.specimens(), tmp_path / f"bad{READERS[kind].ending}"
    tries = count(ALL * reader.weight // 100)
    for number in range(tries):
        bad = spoilt(specimens, dice)
        place.write_bytes(bad)
        try:
            refused += judge(kind, place)
        except Exception as error:
            raise AssertionError(f"number {number}: {error!r} from {bad[:2000]!r}") from error
    assert refused > tries // 10  # else they are not bad enough
    assert [path.name for path in tmp_path.iterdir()] == [place.name]
