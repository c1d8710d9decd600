"""Where results go: tables and JSON to standard output, progress to standard error."""

from __future__ import annotations

import json
import math
import re
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import IO, TYPE_CHECKING, Any, cast

import click

if TYPE_CHECKING:
    from rich.console import Console

PLAIN_WIDTH = 80
WIDEST = 100

Progress = Callable[[int, int | None], None]
"""Told how much of the work is done, and how much there is where that is known."""


def paper(file: IO[str] | None = None) -> Console:
    """A place to print tables and sentences."""
    from rich.console import Console

    target = sys.stdout if file is None else file
    if target.isatty():
        console = Console(file=target, markup=False, emoji=False, highlight=False)
        console.width = min(console.width, WIDEST)
        return console
    trimmed = cast("IO[str]", _Trimmed(target))
    return Console(file=trimmed, markup=False, emoji=False, highlight=False, width=PLAIN_WIDTH)


class _Trimmed:
    """A text stream whose lines end where their words end, fit to be kept and compared."""

    def __init__(self, stream: IO[str]) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        return self._stream.write(re.sub(r" +(?=\n)", "", text))

    def flush(self) -> None:
        self._stream.flush()

    def isatty(self) -> bool:
        return False


def print_json(result: Mapping[str, Any]) -> None:
    """Print one JSON object and nothing else."""
    click.echo(as_text(result), nl=False)


def as_text(result: Mapping[str, Any]) -> str:
    """A result as the text of a JSON file."""
    return json.dumps(_finite(result), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _finite(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        reason = "not a number" if math.isnan(value) else "infinite"
        return {"value": None, "reason": reason if value != -math.inf else "minus infinity"}
    return value


@contextmanager
def progress(doing: str) -> Iterator[Progress | None]:
    """A line on standard error that says how far the work has come."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress as Bar, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    console = Console(stderr=True, markup=False)
    with Bar(*columns, console=console, transient=True) as bar:
        task = bar.add_task(doing, total=None)
        yield lambda done, whole: bar.update(task, completed=done, total=whole)
