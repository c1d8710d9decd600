"""A survey of two hundred files on two cores against one, and the memory of its workers.

The pieces are a few, made here, under many names (hard links); one is long, at 96 kHz, for the
memory.  Both surveys must come to the same before anything is timed.
"""

from __future__ import annotations

import os
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import soundfile

from stagefx.circuit.description.files import load_stage
from stagefx.survey.survey import Survey, survey_folder
from tests.benchmarks.ratio import Ratio
from tests.played import song

FILES = 200
PIECES = 8
SECONDS = 10
LONG_SECONDS = 300
RATE_HZ, LONG_RATE_HZ = 44100, 96000
ROUNDS = 2
BOUND_MIB = 350.0


def run() -> list[Ratio]:
    """Wall time by turns, the shorter of each; then the largest worker's peak."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        music = made(folder / "music")
        check(music)
        taken: dict[int, list[float]] = {1: [], 2: []}
        for _ in range(ROUNDS):
            for jobs, times in taken.items():
                begin = time.perf_counter()
                survey(music, jobs)
                times.append(time.perf_counter() - begin)
        long = folder / "long"
        long.mkdir()
        for number in range(2):
            write_long(long / f"{number}.wav")
        survey(long, 2)
        peaks = [peak_mib(process) for process in workers()]
        assert len(peaks) >= 2, "the workers are gone already"
    return [
        Ratio(
            name=f"survey of {FILES} files on two cores",
            peer="one core",
            value=min(taken[1]) / min(taken[2]),
            bound=1.8,
            sense="at least",
        ),
        Ratio(
            name="survey, resident memory of a worker",
            peer="the largest of two",
            value=max(peaks),
            bound=BOUND_MIB,
            unit="MiB",
        ),
    ]


def survey(music: Path, jobs: int) -> Survey:
    return survey_folder(load_stage("line-stage"), music, jobs=jobs)


def made(folder: Path) -> Path:
    folder.mkdir()
    first: list[Path] = []
    for number in range(FILES):
        place = folder / f"{number:03d}.flac"
        if number < PIECES:
            piece = 0.9 * song(SECONDS * RATE_HZ, 2, seed=number, rate_hz=RATE_HZ)
            soundfile.write(place, piece, RATE_HZ, subtype="PCM_16")
            first.append(place)
        else:
            place.hardlink_to(first[number % PIECES])
    return folder


def check(music: Path) -> None:
    """Also compiles what is to be compiled, and starts the workers."""
    alone, both = survey(music, 1), survey(music, 2)
    assert alone == both
    assert alone.summary.files == FILES
    assert alone.summary.unreadable == 0
    by_piece = {row.asked for row in alone.rows}
    assert len(by_piece) == PIECES


def write_long(place: Path) -> None:
    piece = song(20 * LONG_RATE_HZ, 2, seed=9, rate_hz=LONG_RATE_HZ)
    with soundfile.SoundFile(place, "w", LONG_RATE_HZ, 2, "PCM_24") as file:
        for _ in range(LONG_SECONDS // 20):
            file.write(piece)


def workers() -> list[Path]:
    """The workers that wait for more, as the system lists them."""
    found = []
    for entry in Path("/proc").iterdir():
        try:
            parent = int((entry / "stat").read_text().rpartition(")")[2].split()[1])
            if parent == os.getpid() and "popen_loky" in (entry / "cmdline").read_text():
                found.append(entry)
        except (OSError, ValueError, IndexError):
            continue
    return found


def peak_mib(process: Path) -> float:
    lines = (process / "status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024.0
