"""A survey on a real Dask scheduler with two workers, and on cores, when a worker is killed.

Everything runs on the loopback interface.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from stagefx.circuit.description.files import load_stage
from stagefx.survey.survey import survey_folder
from tests.cli.running import STAGEFX, begun
from tests.collections_made import collection, rows_so_far

pytest.importorskip("distributed")
PIECES = 8
PATIENCE_S = 60.0


@contextmanager
def running(*command: str, log: Path) -> Iterator[subprocess.Popen[bytes]]:
    """A program that is ended, whatever happens, by its own number."""
    with log.open("wb") as said:
        process = subprocess.Popen(command, stdout=said, stderr=said, stdin=subprocess.DEVNULL)
    try:
        yield process
    finally:
        process.kill()
        process.wait()


def wait_for(done: object, *, what: str) -> None:
    """Until something holds, or for too long."""
    assert callable(done)
    end = time.monotonic() + PATIENCE_S
    while not done():
        assert time.monotonic() < end, f"waited too long for {what}"
        time.sleep(0.01)


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """A scheduler's address, and its two workers, one thread to each."""
    local = ("--host", "127.0.0.1", "--no-dashboard")
    told = tmp_path / "scheduler.json"
    with ExitStack() as opened:
        dask = (sys.executable, "-m", "dask")
        scheduler = running(
            *dask, "scheduler", *local, "--port", "0", "--scheduler-file", str(told),
            log=tmp_path / "scheduler.log",
        )  # fmt: skip
        opened.enter_context(scheduler)
        wait_for(lambda: told.exists() and told.read_text().endswith("}"), what="the scheduler")
        address = json.loads(told.read_text())["address"]
        workers = [
            opened.enter_context(
                running(
                    *dask, "worker", address, *local, "--nthreads", "1", "--no-nanny",
                    "--local-directory", str(tmp_path / f"worker {number}"),
                    log=tmp_path / f"worker {number}.log",
                )
            )
            for number in range(2)
        ]  # fmt: skip
        logs = [tmp_path / f"worker {number}.log" for number in range(2)]
        wait_for(
            lambda: all("Registered to" in log.read_text() for log in logs), what="the workers"
        )
        yield address, workers


def survey_and_kill(music: Path, out: Path, *options: str, victim: object) -> tuple[int, str]:
    """Survey a folder; once it has a row, end somebody from outside."""
    assert callable(victim)
    command = [*STAGEFX, "survey", "line-stage", str(music), "--out", str(out), *options]
    with begun(*command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        wait_for(lambda: rows_so_far(out) > 0 or process.poll() is not None, what="a row")
        assert rows_so_far(out) < PIECES - 1, "the survey is over too soon for this test"
        os.kill(victim(process.pid), signal.SIGKILL)
        said, _ = process.communicate(timeout=PATIENCE_S)
    return process.returncode, said


@pytest.mark.slow
def test_a_cluster_gives_the_same_though_a_worker_is_killed(
    cluster: tuple[str, list[subprocess.Popen[bytes]]], tmp_path: Path
) -> None:
    address, workers = cluster
    music = collection(tmp_path / "music", pieces=PIECES, seconds=8.0)
    code, said = survey_and_kill(
        music, tmp_path / "cluster.jsonl", "--scheduler", address,
        victim=lambda _: workers[0].pid,
    )  # fmt: skip
    assert code == 0, said
    assert "Traceback" not in said
    assert workers[0].wait() == -signal.SIGKILL
    assert workers[1].poll() is None
    survey_folder(load_stage("line-stage"), music, jobs=1, out=tmp_path / "alone.jsonl")
    expected = (tmp_path / "alone.jsonl").read_bytes()
    assert (tmp_path / "cluster.jsonl").read_bytes() == expected


def a_worker_of(parent: int) -> int:
    """One of the worker processes that a survey has started on this machine."""
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        try:
            state = (entry / "stat").read_text().rpartition(")")[2].split()
            command = (entry / "cmdline").read_text()
        except OSError:
            continue
        if int(state[1]) == parent and "popen_loky" in command:
            return int(entry.name)
    raise AssertionError("no worker to be found")


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="no /proc")
def test_cores_give_the_same_though_a_worker_is_killed(tmp_path: Path) -> None:
    music = collection(tmp_path / "music", pieces=PIECES, seconds=8.0)
    code, said = survey_and_kill(
        music, tmp_path / "killed.jsonl", "--jobs", "2", victim=a_worker_of
    )
    assert code == 0, said
    assert "Traceback" not in said
    assert "Warning" not in said
    survey_folder(load_stage("line-stage"), music, jobs=1, out=tmp_path / "alone.jsonl")
    expected = (tmp_path / "alone.jsonl").read_bytes()
    assert (tmp_path / "killed.jsonl").read_bytes() == expected
