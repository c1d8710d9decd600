"""A process in which the program is loaded and compiled, and which forks one for each command.

A command so begun is like any other, but begins at once: what is knocked on is its work, not the
loading of its libraries.
"""

from __future__ import annotations

import contextlib
import ctypes
import faulthandler
import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from tests.cli.short_music import short_music

PATIENCE_S = 120.0
"""How long a command may take; then it is ended, and says where each of its threads stood."""


@dataclass(frozen=True)
class Done:
    """How a command ended."""

    returncode: int
    stdout: str
    stderr: str
    seconds: float


class Running:
    """A command that was begun."""

    def __init__(self, warm: Warm, process: int, out: Path, err: Path) -> None:
        self._warm, self.process, self._out, self._err = warm, process, out, err
        self._begun = time.monotonic()

    def kill(self) -> None:
        """End it as the system does when memory runs out."""
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.process, signal.SIGKILL)

    def wait(self) -> Done:
        returncode = self._warm.ask({"wait": self.process})["returncode"]
        seconds = time.monotonic() - self._begun
        told = (path.read_text(encoding="utf-8") for path in (self._out, self._err))
        return Done(returncode, *told, seconds)


class Warm:
    """Asks the process for commands."""

    def __init__(self, talk: subprocess.Popen[str], home: Path) -> None:
        self._talk, self._home, self._count = talk, home, 0
        assert self.ask({"ready": True})["ready"]

    def ask(self, question: dict[str, Any]) -> dict[str, Any]:
        assert self._talk.stdin is not None
        assert self._talk.stdout is not None
        self._talk.stdin.write(json.dumps(question) + "\n")
        self._talk.stdin.flush()
        answer: dict[str, Any] = json.loads(self._talk.stdout.readline())
        return answer

    def begin(self, *arguments: str | Path, cwd: Path, offline: bool = False) -> Running:
        self._count += 1
        out, err = (self._home / f"{self._count}.{kind}" for kind in ("out", "err"))
        for place in (out, err):
            place.touch()  # there to be read, however soon the command ends
        asked = {
            "run": [*map(str, arguments)], "cwd": str(cwd), "out": str(out), "err": str(err),
            "offline": offline,
        }  # fmt: skip
        return Running(self, self.ask(asked)["process"], out, err)

    def run(self, *arguments: str | Path, cwd: Path, offline: bool = False) -> Done:
        return self.begin(*arguments, cwd=cwd, offline=offline).wait()


@contextlib.contextmanager
def warmed() -> Iterator[Warm]:
    """The process, as long as it is wanted."""
    with (
        tempfile.TemporaryDirectory() as home,
        subprocess.Popen(
            [sys.executable, "-m", "tests.knocks.warm"],
            cwd=Path(__file__).parents[2],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        ) as talk,
    ):
        yield Warm(talk, Path(home))
        assert talk.stdin is not None
        talk.stdin.close()


# --- in that process ---


def serve(asked: IO[str], told: IO[str]) -> None:
    """Fork a process for each command, and say how it ended when asked."""
    for line in asked:
        question = json.loads(line)
        if "run" in question:
            process = os.fork()
            if process == 0:
                become(question)
            answer: dict[str, Any] = {"process": process}
        elif "wait" in question:
            answer = {"returncode": ended(question["wait"])}
        else:
            answer = {"ready": True}
        told.write(json.dumps(answer) + "\n")
        told.flush()


def ended(process: int) -> int:
    """How a command ends, if need be by force."""
    until = time.monotonic() + PATIENCE_S
    while True:
        found, status = os.waitpid(process, os.WNOHANG)
        if found:
            return os.waitstatus_to_exitcode(status)
        if time.monotonic() > until:
            os.kill(process, signal.SIGABRT)
        time.sleep(0.002)


def become(question: dict[str, Any]) -> None:
    """Be the command, from its first line to its end."""
    from stagefx_cli.main import main

    os.setsid()
    os.chdir(question["cwd"])
    for number, place in ((0, os.devnull), (1, question["out"]), (2, question["err"])):
        way = os.O_RDONLY if number == 0 else os.O_WRONLY | os.O_CREAT
        os.dup2(os.open(place, way, 0o600), number)
    faulthandler.enable(2)  # where it stood, should it be told to abort
    sys.stdin = open(0, encoding="utf-8", closefd=False)  # noqa: SIM115
    sys.stdout = open(1, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
    sys.stderr = open(2, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
    if question["offline"]:
        cut_off_from_all_networks()
    sys.argv = ["stagefx", *question["run"]]
    code: Any = 1
    try:
        main()
        code = 0
    except SystemExit as end:
        code = end.code
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code if isinstance(code, int) else int(code is not None))


def cut_off_from_all_networks() -> None:
    """No interface is left where the system allows that, and no socket is made in any case."""
    new_network, new_user = 0x40000000, 0x10000000  # linux/sched.h
    libc = ctypes.CDLL(None, use_errno=True)
    apart = libc.unshare(new_network) == 0 or libc.unshare(new_network | new_user) == 0
    if apart:
        up = [name for _, name in socket.if_nameindex() if name != "lo"]
        assert not up, up
    elif os.geteuid() == 0:
        os.write(2, b"NO NETWORK OF ITS OWN\n")
        os._exit(98)

    def refuse(event: str, arguments: tuple[Any, ...]) -> None:
        families = {socket.AF_INET, socket.AF_INET6}
        if event == "socket.__new__" and arguments[1] in families:
            os.write(2, b"A SOCKET WAS MADE\n")
            os._exit(99)
        if event in {"socket.getaddrinfo", "socket.gethostbyname", "urllib.Request"}:
            os.write(2, f"{event} WAS CALLED\n".encode())
            os._exit(99)

    sys.addaudithook(refuse)


def warm_up() -> None:
    """Load and compile what the commands need."""
    from click.testing import CliRunner

    from stagefx_cli.main import program

    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        music = short_music(Path("music.flac"), seconds=1.5)
        Path("many").mkdir()
        short_music(Path("many", "a.flac"), seconds=0.6)
        for line in (
            f"render line-stage {music} out.flac",
            f"compare line-stage wire --music {music} --plot out.png",
            f"listen line-stage wire {music} set",
            "figures line-stage --plot figures.png",
            "survey line-stage many --jobs 1 --plot survey.png",
        ):
            done = CliRunner().invoke(program, line.split(), prog_name="stagefx")
            if done.exit_code not in {0, 1}:
                raise AssertionError(done.output) from done.exception


if __name__ == "__main__":
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    warm_up()
    serve(sys.stdin, answers)
