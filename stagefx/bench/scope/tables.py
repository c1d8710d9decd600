"""A table of times and volts from any instrument: its columns, numbers and units found out."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from stagefx.errors import StagefxError, nearest

Array = NDArray[np.float64]

LEAST_POINTS = 20
MOST_BYTES = 200_000_000
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_BEYOND = re.compile(r"[+-]?(?:nan|inf(?:inity)?)", re.IGNORECASE)
_DIALECTS = (("\t", "."), (";", "."), (",", "."), (" ", "."), ("\t", ","), (";", ","), (" ", ","))
_TIMES = {"s": 1.0, "sec": 1.0, "second": 1.0, "seconds": 1.0}
_TIMES |= {"ms": 1e-3, "us": 1e-6, "µs": 1e-6, "μs": 1e-6, "ns": 1e-9, "ps": 1e-12}
_VOLTS = {"v": 1.0, "volt": 1.0, "volts": 1.0, "mv": 1e-3, "uv": 1e-6, "µv": 1e-6, "kv": 1e3}
_IN_BRACKETS = re.compile(r"[(\[]\s*([^()\[\]]+?)\s*[)\]]\s*$")
_UNEVEN = 0.5


class ScopeError(StagefxError):
    """A table of times and volts cannot be used."""


@dataclass(frozen=True)
class Trace:
    """Volts at evenly spaced times."""

    start_s: float
    interval_s: float
    volts: Array
    step_v: float
    remarks: tuple[str, ...] = ()

    @property
    def times_s(self) -> Array:
        """Time of every point."""
        return np.asarray(self.start_s + self.interval_s * np.arange(self.volts.size))


def load_trace(
    place: str | Path,
    *,
    time_column: str | None = None,
    volts_column: str | None = None,
    volts_scale: float = 1.0,
) -> Trace:
    r"""Read a table of times and volts from a file.

    Parameters
    ----------
    place : str or Path
        A text file.
    time_column, volts_column : str
        Name, or number from 1; found out where left out.
    volts_scale : float, not 0
        What the volts are multiplied by: the probe's factor, where the instrument was not told.

    Returns
    -------
    Trace
        Evenly spaced.

    Raises
    ------
    ScopeError
        No such file, not text, or as `read_trace`.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     table = Path(folder, "edge.csv")
    ...     _ = table.write_text("\n".join(f"{t}e-6;{t % 7}" for t in range(40)))
    ...     load_trace(table).interval_s
    1e-06
    """
    path = Path(place)
    try:
        if path.stat().st_size > MOST_BYTES:
            raise ScopeError(f"{place}: more than {MOST_BYTES // 1_000_000} MB; cut it shorter")
        raw = path.read_bytes()
    except FileNotFoundError:
        raise ScopeError(f"{place}: there is no such file") from None
    except OSError as error:
        raise ScopeError(f"{place}: cannot be read: {error.strerror}") from None
    return read_trace(
        _as_text(raw, str(place)),
        time_column=time_column,
        volts_column=volts_column,
        volts_scale=volts_scale,
        where=str(place),
    )


def _as_text(raw: bytes, where: str) -> str:
    if raw[:2] in {b"\xff\xfe", b"\xfe\xff"}:
        return raw.decode("utf-16", errors="replace")
    if b"\0" in raw:
        raise ScopeError(f"{where}: not text; save the trace as a table of times and volts (CSV)")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def read_trace(
    text: str,
    *,
    time_column: str | None = None,
    volts_column: str | None = None,
    volts_scale: float = 1.0,
    where: str = "the table",
) -> Trace:
    r"""Read a table of times and volts."""
    if not math.isfinite(volts_scale) or volts_scale == 0.0:
        raise ScopeError(f"volts cannot be scaled by {volts_scale:g}; give a factor such as 10")
    table = _Table.of(text, where)
    times_at, volts_at, remarks = table.columns(time_column, volts_column)
    times, volts = table.numbers(times_at, "time"), table.numbers(volts_at, "volts")
    time_unit, volts_unit = table.unit(times_at, _TIMES), table.unit(volts_at, _VOLTS)
    for what, unit in (("times", time_unit), ("volts", volts_unit)):
        if unit is not None and unit[1] != 1.0:
            remarks.append(f"the {what} are read as {unit[0]}, as the header says")
    seconds = times * (1.0 if time_unit is None else time_unit[1])
    scaled = volts * volts_scale * (1.0 if volts_unit is None else volts_unit[1])
    if scaled.size < LEAST_POINTS:
        raise ScopeError(
            f"{where}: {scaled.size} points are too few; at least {LEAST_POINTS} are needed, and "
            "some hundreds are better"
        )
    _check_times(seconds, table, where)
    interval = float(seconds[-1] - seconds[0]) / (seconds.size - 1)
    interval = float(f"{interval:.12g}")  # the digits that the subtraction made up
    return Trace(float(seconds[0]), interval, scaled, _vertical_step_v(scaled), tuple(remarks))


def _check_times(seconds: Array, table: _Table, where: str) -> None:
    gaps = np.diff(seconds)
    usual = float(np.median(gaps))
    if np.any(gaps <= 0.0):
        at = int(np.argmax(gaps <= 0.0)) + 1
        how = "goes back" if gaps[at - 1] < 0.0 else "stands still"
        raise ScopeError(
            f"{where}, line {table.lines[at]}: time {how}; times must rise from line to line "
            "(one trace a table, times written with enough digits)"
        )
    uneven = np.abs(gaps - usual) > _UNEVEN * usual
    if np.any(uneven):
        at = int(np.argmax(uneven)) + 1
        raise ScopeError(
            f"{where}, line {table.lines[at]}: {gaps[at - 1]:.4g} s pass since the line before "
            f"where {usual:.4g} s are usual; the points must be evenly spaced, without gaps"
        )


def _vertical_step_v(volts: Array) -> float:
    """The step a converter of few bits leaves between the values that occur; 0 if unseen."""
    values = np.unique(volts)
    if values.size < 2 or values.size > max(volts.size // 4, 16):
        return 0.0
    steps = np.diff(values)
    # a quick edge skips codes, and values rounded in the file differ by next to nothing
    return float(steps[steps > 1e-6 * float(values[-1] - values[0])].min())


@dataclass(frozen=True)
class _Table:
    """Cells of the lines that hold the data, and the header lines above them."""

    cells: list[list[str]]
    lines: list[int]
    header: list[list[str]]
    numeric: list[int]
    comma: bool
    where: str

    @classmethod
    def of(cls, text: str, where: str) -> _Table:
        written = [
            (number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip()
        ]
        best: tuple[int, int, list[int], list[list[str]], bool] | None = None
        for delimiter, decimal in _DIALECTS:
            rows = [_split(line, delimiter) for _, line in written]
            wide = [row for row in rows if len(row) > 1]
            if not wide:
                continue
            comma = decimal == ","
            counts = Counter(
                at for row in wide for at, cell in enumerate(row) if _is_number(cell, comma=comma)
            )
            numeric = sorted(at for at, count in counts.items() if 2 * count >= len(written))
            if len(numeric) < 2:
                continue
            # cut at a decimal comma, a line still has numbers, but not in all of its cells
            pure = sum(all(_is_number(c, comma=comma) for c in row if c) for row in wide)
            counted = sum(counts[at] for at in numeric)
            if best is None or (pure, counted) > best[:2]:
                best = (pure, counted, numeric, rows, comma)
        if best is None:
            raise ScopeError(
                f"{where}: no two columns of numbers; a table needs a time and a voltage on each "
                "line"
            )
        _, _, numeric, rows, comma = best
        whole = (all(_cell(row, at, comma=comma) for at in numeric[:2]) for row in rows)
        start = next((at for at, both in enumerate(whole) if both), 0)
        return cls(
            rows[start:], [number for number, _ in written[start:]], rows[:start], numeric, comma,
            where,
        )  # fmt: skip

    def columns(self, time: str | None, volts: str | None) -> tuple[int, int, list[str]]:
        """Where times and volts stand."""
        times_at = self._time_column() if time is None else self._named(time)
        others = [at for at in self.numeric if at != times_at]
        if volts is not None:
            volts_at = self._named(volts)
        elif others:
            volts_at = others[0]
        else:
            raise ScopeError(f"{self.where}: no column of volts beside the times")
        if times_at == volts_at:
            raise ScopeError(f"{self.where}: column {times_at + 1} cannot hold times and volts")
        left = [at for at in others if at != volts_at]
        remarks = []
        if volts is None and left:
            listed = " and ".join(str(at + 1) for at in left)
            remarks.append(
                f"column {volts_at + 1} is taken for the volts; column{'s' * (len(left) > 1)} "
                f"{listed} can be chosen with --volts-column"
            )
        return times_at, volts_at, remarks

    def _time_column(self) -> int:
        for at in self.numeric:
            found = [_value(row[at], comma=self.comma) for row in self.cells if at < len(row)]
            rising = [b > a for a, b in pairwise(found)]
            if rising and sum(rising) >= 0.9 * len(rising):
                return at
        return self.numeric[0]

    def _named(self, name: str) -> int:
        widest = max(len(row) for row in self.cells)
        if name.strip().isdigit():
            at = int(name) - 1
            if not 0 <= at < widest:
                raise ScopeError(f"{self.where}: no column {name}; there are {widest}")
            return at
        known: dict[str, int] = {}
        for row in self.header:
            known |= {_bare(cell): at for at, cell in enumerate(row) if cell and at < widest}
        wanted = _bare(name)
        if wanted not in known:
            what = nearest(wanted, known) if known else "; no names stand above the columns"
            raise ScopeError(f"{self.where}: no column '{name}'{what}, or give its number")
        return known[wanted]

    def numbers(self, at: int, what: str) -> Array:
        """One column's numbers."""
        found = np.empty(len(self.cells))
        for index, row in enumerate(self.cells):
            cell = row[at] if at < len(row) else ""
            value = _value(cell, comma=self.comma)
            if math.isnan(value):
                raise ScopeError(f"{self.where}, line {self.lines[index]}: {_wrong(cell, what)}")
            found[index] = value
        return found

    def unit(self, at: int, known: dict[str, float]) -> tuple[str, float] | None:
        """A column's unit, where the header lines right above it say one."""
        for row in reversed(self.header[-4:]):
            cell = row[at].strip() if at < len(row) else ""
            bracketed = _IN_BRACKETS.search(cell)
            spelt = (bracketed[1] if bracketed else cell).strip()
            if spelt.lower() in known and (bracketed or spelt != "S"):
                # a capital M would be mega, which no trace is written in
                return spelt, known[spelt.lower()]
        return None


def _split(line: str, delimiter: str) -> list[str]:
    cells = line.split() if delimiter == " " else line.split(delimiter)
    return [cell.strip().strip('"').strip() for cell in cells]


def _is_number(cell: str, *, comma: bool) -> bool:
    return _NUMBER.fullmatch(_pointed(cell, comma=comma)) is not None


def _pointed(cell: str, *, comma: bool) -> str:
    return cell.replace(",", ".", 1) if comma and "." not in cell else cell


def _cell(row: Sequence[str], at: int, *, comma: bool) -> bool:
    return at < len(row) and _is_number(row[at], comma=comma)


def _value(cell: str, *, comma: bool) -> float:
    return float(_pointed(cell, comma=comma)) if _is_number(cell, comma=comma) else math.nan


def _bare(name: str) -> str:
    return _IN_BRACKETS.sub("", name).strip().lower()


def _wrong(cell: str, what: str) -> str:
    if not cell:
        return (
            f"the {what} is missing; a gap cannot be bridged"
            if what == "time"
            else ("the volts are missing; a gap cannot be bridged")
        )
    if _BEYOND.fullmatch(cell) or set(cell) <= set("*#-+"):
        return f"'{cell}' is off the screen; make the picture smaller and take the trace again"
    shown = cell if len(cell) <= 30 else f"{cell[:29]}…"
    return f"'{shown}' is no number where the {what} should stand"
