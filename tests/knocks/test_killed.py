"""Commands killed at any moment: whole output or none, nothing of the user's touched.

What is promised is checked from outside, on files: SIGKILL leaves a program no chance to tidy up.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from stagefx.blind.keys import load_key
from stagefx.blind.pack.preparation import LIST_NAME
from tests.knocks.counts import count
from tests.knocks.warm import Done, Warm
from tests.knocks.written import make_inputs


def digests(folder: Path) -> dict[str, str]:
    """Every file below a folder, by its bytes."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def same_files(found: dict[str, str], expected: dict[str, str]) -> None:
    assert found == expected


def whole_pack(found: dict[str, str], expected: dict[str, str]) -> None:
    """Its names and order come from the system's entropy: as many files of each kind."""
    kinds = [sorted(Path(name).suffix for name in names) for names in (found, expected)]
    assert kinds[0] == kinds[1]


@dataclass(frozen=True)
class Command:
    """A command, what it makes, and how to know that it is whole."""

    line: str
    kills: int
    makes: tuple[str, ...]
    """In the order in which it may appear; what stands here without what stands before is wrong."""
    whole: Callable[[dict[str, str], dict[str, str]], None] = field(default=same_files)
    grows: bool = False
    """Whether the output is written as it goes, so that any number of whole lines is right."""


COMMANDS = {
    "render": Command("render line-stage ../in/piece.flac out.flac", 60, ("out.flac",)),
    "render over another": Command(
        "render slow-early ../in/piece.flac out.flac --force", 20, ("out.flac",)
    ),
    "blind pack": Command(
        "blind prepare line-stage wire ../in/piece.flac pack --key key.json --trials 4",
        50,
        ("key.json", "pack"),
        whole_pack,
    ),
    "answer": Command("answer ../in/question.toml answered", 20, ("answered",)),
    "survey": Command(
        "survey line-stage ../in/many --out survey.jsonl --jobs 1", 30, (), grows=True
    ),
    "survey, two at a time": Command(
        "survey line-stage ../in/many --out survey.jsonl --jobs 2", 20, (), grows=True
    ),
}
assert sum(command.kills for command in COMMANDS.values()) == 200


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_inputs(tmp_path_factory.mktemp("knocked") / "in")


@pytest.fixture(scope="module", params=COMMANDS)
def case(request: pytest.FixtureRequest, warm: Warm, inputs: Path) -> tuple[Command, Path, Done]:
    """A command, and what it leaves when nobody kills it."""
    command = COMMANDS[request.param]
    undisturbed = inputs.parent / f"undisturbed {request.param}"
    undisturbed.mkdir()
    prepared(undisturbed)
    done = warm.run(*command.line.split(), cwd=undisturbed)
    assert done.returncode in {0, 1}, done.stderr
    return command, undisturbed, done


def prepared(folder: Path) -> None:
    """Something of the user's beside, and in the way of what replaces it."""
    (folder / "mine.txt").write_text("mine")
    if folder.name.endswith("render over another"):
        (folder / "out.flac").write_bytes(b"the user's own")


def test_a_killed_command_leaves_all_or_nothing(
    case: tuple[Command, Path, Done], warm: Warm, inputs: Path
) -> None:
    command, undisturbed, reference = case
    before, expected = digests(inputs), digests(undisturbed)
    dice = random.Random(command.line)
    for number in range(count(command.kills)):
        folder = inputs.parent / f"{number} {undisturbed.name}"
        folder.mkdir()
        prepared(folder)
        running = warm.begin(*command.line.split(), cwd=folder)
        time.sleep(dice.uniform(0.0, 1.1 * reference.seconds))
        running.kill()
        running.wait()
        judge(command, folder, digests(folder), expected)
        if done_already(command, folder):
            continue
        again = warm.run(*command.line.split(), cwd=folder)
        assert again.returncode == reference.returncode, again.stderr
        command.whole(digests(folder), expected)
        assert not hidden(folder)
    assert digests(inputs) == before


def hidden(folder: Path) -> list[Path]:
    return [path for path in folder.iterdir() if path.name.startswith(".")]


def judge(command: Command, folder: Path, found: dict[str, str], expected: dict[str, str]) -> None:
    """Only whole things stand under their names; what is unfinished is hidden and called a part."""
    assert all(path.name.endswith(".part") for path in hidden(folder))
    seen = {name: mark for name, mark in found.items() if not name.startswith(".")}
    assert seen["mine.txt"] == expected["mine.txt"]
    if command.grows:
        assert set(seen) <= {"mine.txt", "survey.jsonl"}
        check_lines(folder / "survey.jsonl", folder.parent / f"undisturbed {kind(command)}")
        return
    there = [name for name in command.makes if (folder / name).exists()]
    assert there == list(command.makes[: len(there)])
    if "--force" in command.line:
        own = hashlib.sha256(b"the user's own").hexdigest()
        assert seen["out.flac"] in {own, expected["out.flac"]}
    elif len(there) == len(command.makes):
        command.whole(seen, expected)
        if "pack" in there:
            listing = (folder / "pack" / LIST_NAME).read_text(encoding="utf-8")
            assert load_key(folder / "key.json").commitment in listing
    else:
        assert {name.partition("/")[0] for name in seen} == {"mine.txt", *there}


def kind(command: Command) -> str:
    return next(name for name, one in COMMANDS.items() if one is command)


def check_lines(journal: Path, undisturbed: Path) -> None:
    """Every whole line is one of the undisturbed survey's; only the last may be torn."""
    if not journal.exists():
        return
    known = {json.dumps(line, sort_keys=True) for line in lines_of(undisturbed / "survey.jsonl")}
    *whole, _torn = journal.read_bytes().split(b"\n")
    for line in whole:
        assert json.dumps(json.loads(line), sort_keys=True) in known


def lines_of(journal: Path) -> list[object]:
    return [json.loads(line) for line in journal.read_text(encoding="utf-8").splitlines()]


def done_already(command: Command, folder: Path) -> bool:
    """Whether the kill came too late, or between two outputs, so that the same line is refused."""
    return any((folder / name).exists() for name in command.makes) and "--force" not in command.line


def test_workers_of_a_killed_survey_end_by_themselves(warm: Warm, inputs: Path) -> None:
    folder = inputs.parent / "workers"
    folder.mkdir()
    line = f"survey line-stage {inputs / 'many'} --out survey.jsonl --jobs 2"
    running = warm.begin(*line.split(" "), cwd=folder)
    until = time.monotonic() + 20.0
    while not family(running.process) - {running.process} and time.monotonic() < until:
        time.sleep(0.01)
    assert family(running.process) - {running.process}
    running.kill()
    running.wait()
    while family(running.process) and time.monotonic() < until:
        time.sleep(0.05)
    assert not family(running.process)


def family(leader: int) -> set[int]:
    """Processes of a session, but for those that have ended."""
    found = set()
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        try:
            fields = (entry / "stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[3]) == leader and fields[0] != "Z":
            found.add(int(entry.name))
    return found - {os.getpid()}
