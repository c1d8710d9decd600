"""A folder of results appears whole or not at all, and never over what the user has."""

from __future__ import annotations

from pathlib import Path

import pytest

from stagefx.errors import OutputError
from stagefx.io.atomic_folder import whole_folder


def held(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


def test_a_new_folder_appears_with_everything_in_it(tmp_path: Path) -> None:
    with whole_folder(tmp_path / "new") as folder:
        (folder / "music").mkdir()
        (folder / "music" / "a.flac").write_text("a", encoding="utf-8")
        assert not (tmp_path / "new").exists()
    assert held(tmp_path) == ["new", "new/music", "new/music/a.flac"]


@pytest.mark.parametrize("failure", [ValueError, KeyboardInterrupt])
def test_a_failure_leaves_nothing(failure: type[BaseException], tmp_path: Path) -> None:
    def fail_half_way() -> None:
        with whole_folder(tmp_path / "new") as folder:
            (folder / "a.txt").write_text("a", encoding="utf-8")
            raise failure

    with pytest.raises(failure):
        fail_half_way()
    assert held(tmp_path) == []


def test_an_empty_folder_is_filled(tmp_path: Path) -> None:
    (tmp_path / "new").mkdir()
    with whole_folder(tmp_path / "new") as folder:
        (folder / "a.txt").write_text("a", encoding="utf-8")
    assert held(tmp_path) == ["new", "new/a.txt"]


def test_a_folder_that_holds_something_is_refused(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="holds something already"), whole_folder(tmp_path):
        pytest.fail("nothing must be begun")
    assert held(tmp_path) == ["mine.txt"]


def test_force_overwrites_what_is_made_anew_and_keeps_the_rest(tmp_path: Path) -> None:
    place = tmp_path / "demo"
    place.mkdir()
    (place / "mine.txt").write_text("mine", encoding="utf-8")
    (place / "a.txt").write_text("old", encoding="utf-8")
    with whole_folder(place, force=True) as folder:
        (folder / "a.txt").write_text("new", encoding="utf-8")
        (folder / "music").mkdir()
        (folder / "music" / "b.txt").write_text("b", encoding="utf-8")
    assert held(tmp_path) == [
        "demo",
        "demo/a.txt",
        "demo/mine.txt",
        "demo/music",
        "demo/music/b.txt",
    ]
    assert (place / "a.txt").read_text(encoding="utf-8") == "new"
    assert (place / "mine.txt").read_text(encoding="utf-8") == "mine"


def test_a_file_in_the_way_is_refused(tmp_path: Path) -> None:
    (tmp_path / "demo").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="is a file"), whole_folder(tmp_path / "demo", force=True):
        pytest.fail("nothing must be begun")


def test_a_missing_folder_above_is_said(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="there is no folder"), whole_folder(tmp_path / "a" / "b"):
        pytest.fail("nothing must be begun")
