"""A disk that is full, or a file that may grow no further: one error, and nothing left behind."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.knocks.counts import count
from tests.knocks.test_killed import digests
from tests.knocks.warm import Done, Warm
from tests.knocks.written import WRITING, make_inputs

DISK_KIB = 16 * 1024
ROOMS_KIB = (0, 4, 24, 100, 300, 800, 1600, 2400, 3200, 6400)


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_inputs(tmp_path_factory.mktemp("full") / "in")


@pytest.fixture(scope="module")
def disk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A small disk of its own."""
    place = tmp_path_factory.mktemp("disk")
    options = f"size={DISK_KIB}k"
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(place)],
        capture_output=True,
        check=False,
    )
    if mounted.returncode:
        pytest.skip("FULL DISK NOT TRIED: only root may mount a small disk here")
    try:
        yield place
    finally:
        subprocess.run(["umount", "--lazy", str(place)], check=True)


def leave_room(disk: Path, room_kib: int) -> None:
    """Empty a disk, and fill it up but for some room."""
    for path in disk.iterdir():
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    (disk / "mine.txt").write_text("mine")
    with (disk / "ballast").open("wb") as file:
        free = os.statvfs(disk)
        file.write(bytes(free.f_bavail * free.f_frsize - 1024 * room_kib))


def told_once(done: Done, place: Path) -> None:
    """One clear error, that says what and where."""
    assert done.returncode == 2, done.stderr
    assert done.stderr.count("stagefx:") == 1
    assert done.stderr.startswith("stagefx: ")
    assert "cannot be written, for the disk is full; make room" in done.stderr
    assert str(place) in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("name", WRITING)
def test_on_a_full_disk_nothing_is_left(name: str, warm: Warm, inputs: Path, disk: Path) -> None:
    writing, before, refused = WRITING[name], digests(inputs), 0
    rooms = ROOMS_KIB if count(10) == 10 else ROOMS_KIB[:: len(ROOMS_KIB) // 3]
    for room_kib in rooms:
        leave_room(disk, room_kib)
        kept = digests(disk)
        done = warm.run(*writing.arguments(inputs, disk / writing.out), cwd=inputs)
        if done.returncode == 2:
            told_once(done, disk)
            assert digests(disk) == kept
            assert sorted(path.name for path in disk.iterdir()) == ["ballast", "mine.txt"]
            refused += 1
        else:
            assert (disk / writing.out).exists()
            assert not [path for path in disk.iterdir() if path.name.startswith(".")]
    assert refused
    assert digests(inputs) == before


@pytest.mark.parametrize("name", ["render flac", "plot", "signals", "answer"])
def test_what_stood_there_stays_as_it_was(name: str, warm: Warm, inputs: Path, disk: Path) -> None:
    writing = WRITING[name]
    leave_room(disk, 16)
    out = disk / writing.out
    if out.suffix:
        out.write_bytes(b"the user's own")
    else:
        out.mkdir()
        (out / "answer.html").write_bytes(b"the user's own")
    kept = digests(disk)
    done = warm.run(*writing.arguments(inputs, out), "--force", cwd=inputs)
    told_once(done, disk)
    assert digests(disk) == kept


def test_a_survey_keeps_its_whole_lines(warm: Warm, inputs: Path, disk: Path) -> None:
    """It goes on where it stopped once there is room."""
    line = ["survey", "line-stage", inputs / "many", "--out", disk / "s.jsonl", "--jobs", "1"]
    whole = warm.run(*line, cwd=inputs)
    assert whole.returncode == 0, whole.stderr
    expected = (disk / "s.jsonl").read_bytes()
    leave_room(disk, 0)
    done = warm.run(*line, cwd=inputs)
    told_once(done, disk)
    journal = disk / "s.jsonl"
    assert (
        not journal.exists() or journal.read_bytes().endswith(b"\n") or not journal.stat().st_size
    )
    (disk / "ballast").unlink()
    assert warm.run(*line, cwd=inputs).returncode == 0
    assert journal.read_bytes() == expected
