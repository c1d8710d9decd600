"""What a killed program left is cleared away; what belongs to somebody is not."""

from __future__ import annotations

import fcntl
import os
import subprocess
import sys
from pathlib import Path

import pytest

from stagefx.errors import OutputError
from stagefx.io.atomic_file import WholeFile
from stagefx.io.atomic_folder import whole_folder
from stagefx.io.stale_files import clear_orphans, part_beside

DEAD = 2**30
"""No process has so high a number."""


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_killed_writer_leaves_a_part_that_the_next_removes(tmp_path: Path) -> None:
    script = (
        "import os, signal\n"
        "from stagefx.io.atomic_file import WholeFile\n"
        "whole = WholeFile('out.bin')\n"
        "whole.file.write(b'half')\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], cwd=tmp_path, check=False)
    assert done.returncode == -9
    (left,) = names(tmp_path)
    assert left.startswith(".out.bin.")
    assert left.endswith(".part")
    with WholeFile(tmp_path / "out.bin") as whole:
        whole.file.write(b"whole")
    assert names(tmp_path) == ["out.bin"]


def test_an_orphaned_folder_goes_too(tmp_path: Path) -> None:
    orphan = tmp_path / f".pack.{DEAD}.part"
    (orphan / "deeper").mkdir(parents=True)
    (orphan / "deeper" / "a.flac").touch()
    with whole_folder(tmp_path / "pack") as folder:
        (folder / "note.txt").touch()
    assert names(tmp_path) == ["pack"]


@pytest.mark.parametrize(
    "name",
    [
        f".other.bin.{DEAD}.part",  # of another place
        f".out.bin.{os.getppid()}.part",  # of a living process
        ".out.bin.part",  # no such name
        f".out.bin.{DEAD}.part.txt",
        f"out.bin.{DEAD}.part",
    ],
)
def test_what_is_no_orphan_of_this_place_stays(tmp_path: Path, name: str) -> None:
    (tmp_path / name).touch()
    clear_orphans(tmp_path / "out.bin")
    assert names(tmp_path) == [name]


def test_what_is_held_stays(tmp_path: Path) -> None:
    """As where the process is alive, but in a container of its own."""
    part = tmp_path / f".out.bin.{DEAD}.part"
    with part.open("wb") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        clear_orphans(tmp_path / "out.bin")
        assert part.exists()
    clear_orphans(tmp_path / "out.bin")
    assert not part.exists()


def test_a_link_under_such_a_name_is_not_followed(tmp_path: Path) -> None:
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "precious").touch()
    (tmp_path / f".out.{DEAD}.part").symlink_to(mine)
    clear_orphans(tmp_path / "out")
    assert names(mine) == ["precious"]


@pytest.mark.parametrize("name", [250 * "x", 70 * "é" + 40 * "中"])
def test_the_longest_names_have_room_for_a_part(tmp_path: Path, name: str) -> None:
    name = name.encode()[:250].decode(errors="ignore")
    with WholeFile(tmp_path / name) as whole:
        assert len(os.fsencode(part_beside(tmp_path / name).name)) <= 255
        whole.file.write(b"done")
    assert names(tmp_path) == [name]
    orphan = part_beside(tmp_path / name).name.replace(f".{os.getpid()}.", f".{DEAD}.")
    (tmp_path / orphan).touch()
    clear_orphans(tmp_path / name)
    assert names(tmp_path) == [name]


def test_two_long_names_do_not_share_a_part(tmp_path: Path) -> None:
    first, second = tmp_path / (249 * "x" + "1"), tmp_path / (249 * "x" + "2")
    assert part_beside(first) != part_beside(second)


def test_a_folder_is_never_written_to_through_a_link_in_it(tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "a.txt").write_text("mine")
    place = tmp_path / "pack"
    place.mkdir()
    (place / "sub").symlink_to(outside)

    def fill() -> None:
        with whole_folder(place, force=True) as folder:
            (folder / "sub").mkdir()
            (folder / "sub" / "a.txt").write_text("theirs")

    with pytest.raises(OutputError, match="sub is a link, which may lead anywhere"):
        fill()
    assert (outside / "a.txt").read_text() == "mine"
    assert names(tmp_path) == ["outside", "pack"]


def test_a_link_in_the_place_of_a_file_is_replaced_and_not_followed(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    place = tmp_path / "pack"
    place.mkdir()
    (place / "a.txt").symlink_to(tmp_path / "mine.txt")
    with whole_folder(place, force=True) as folder:
        (folder / "a.txt").write_text("new")
    assert (tmp_path / "mine.txt").read_text() == "mine"
    assert (place / "a.txt").read_text() == "new"
    assert not (place / "a.txt").is_symlink()


def test_an_empty_folder_is_filled_in_one_step_and_keeps_its_mode(tmp_path: Path) -> None:
    place = tmp_path / "pack"
    place.mkdir(mode=0o750)
    before = place.stat().st_ino
    with whole_folder(place) as folder:
        (folder / "a.txt").touch()
        (folder / "b.txt").touch()
        made = folder.stat().st_ino
    assert place.stat().st_ino == made != before
    assert place.stat().st_mode & 0o777 == 0o750
    assert names(place) == ["a.txt", "b.txt"]
