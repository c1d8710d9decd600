"""Running the command line as its users do."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from stagefx_cli.main import program

STAGEFX = (sys.executable, "-m", "stagefx_cli")


def run(*arguments: str | Path, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Run `stagefx` in a process of its own."""
    return subprocess.run(
        [*STAGEFX, *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        cwd=cwd,
        stdin=subprocess.DEVNULL,
        timeout=120,
    )


@contextlib.contextmanager
def begun(*command: str | Path, **how: Any) -> Iterator[subprocess.Popen[Any]]:
    """Begin a program that is ended when a test fails while it runs."""
    with subprocess.Popen([*map(str, command)], **how) as process:
        try:
            yield process
        except BaseException:
            process.kill()
            raise


def run_here(*arguments: str | Path, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Run `stagefx` in this process, where what is compiled stays compiled."""
    with contextlib.chdir(cwd or Path()):
        done = CliRunner().invoke(program, [*map(str, arguments)], prog_name="stagefx")
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return subprocess.CompletedProcess(arguments, done.exit_code, done.stdout, done.stderr)


def one_object(text: str) -> dict[str, Any]:
    """The single JSON object that a text is, with nothing else in it."""

    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} is no JSON")

    found = json.loads(text, parse_constant=refuse)
    assert isinstance(found, dict)
    return found


def complaint(done: subprocess.CompletedProcess[str]) -> str:
    """What a refused request says: one or two lines on standard error, and exit code 2."""
    assert done.returncode == 2, done.stderr
    assert done.stdout == ""
    assert "Traceback" not in done.stderr
    lines = done.stderr.splitlines()
    assert 1 <= len(lines) <= 2
    assert lines[0].startswith("stagefx: ")
    return done.stderr


def loaded_modules(*arguments: str | Path, cwd: Path) -> set[str]:
    """The modules that a command has loaded by its end."""
    script = (
        "import atexit, sys\n"
        "atexit.register(lambda: open('modules.txt', 'w').write('\\n'.join(sys.modules)))\n"
        "from stagefx_cli.main import main\n"
        "main()\n"
    )
    subprocess.run(
        [sys.executable, "-c", script, *map(str, arguments)],
        capture_output=True,
        check=False,
        cwd=cwd,
        timeout=120,
    )
    return set((cwd / "modules.txt").read_text(encoding="utf-8").split())
