"""Figures beside what the instrument shows alone, and how far a repeat is off."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

from stagefx.report.text.numbers import amount

from ..words import heading, table

if TYPE_CHECKING:
    from rich.console import Console

    from stagefx.bench.measure.measurement import Measurement

Read = Callable[["Measurement"], float | None]
"""How a figure is found in a measurement."""


class Sheet:
    """Rows of a figure, its floor, and how far a repeat is off."""

    def __init__(
        self, console: Console, loopback: Measurement | None, repeat: Measurement | None
    ) -> None:
        self.console = console
        self.loopback, self.repeat = loopback, repeat
        self._rows: list[tuple[str, str, str, str, str]] = []

    def add(
        self,
        name: str,
        found: Measurement,
        read: Read,
        unit: str,
        *,
        noise: float | None = None,
        note: str = "",
    ) -> None:
        """Add a row: one figure of the stage's, the loopback's and the repeat's measurement."""
        value = read(found)
        if value is None:
            return
        alone = None if self.loopback is None else _quietly(read, self.loopback)
        again = None if self.repeat is None else _quietly(read, self.repeat)
        shown = noise if self.loopback is None else alone
        self._rows.append(
            (
                name,
                amount(value, unit),
                "" if shown is None else amount(shown, unit),
                "" if again is None else _signed(again - value, unit),
                note or floor_remark(value, [alone, noise], unit),
            )
        )

    def flush(self, title: str) -> None:
        """Print what was added, under a heading; nothing where nothing was."""
        if not self._rows:
            return
        heading(self.console, title)
        rows = table(25, -12, -12, -11, 0, gap=1)
        if any(any(row[2:4]) for row in self._rows):
            floor = "floor" if self.loopback is None else "loopback"
            rows.add_row("", "", floor, "" if self.repeat is None else "repeat", "")
        for row in self._rows:
            rows.add_row(*row)
        self.console.print(rows)
        self._rows = []


def _quietly(read: Read, other: Measurement) -> float | None:
    """The same figure of another measurement, which may not have it."""
    try:
        return read(other)
    except (AttributeError, KeyError, StopIteration):
        return None


def _signed(off: float, unit: str) -> str:
    if not math.isfinite(off):
        return ""
    text = amount(off, unit)
    return text if text.startswith(("-", "0.000", "0 ")) else f"+{text}"


def floor_remark(value: float, floors: list[float | None], unit: str) -> str:
    """Say of unwanted things whether they are no more than what the instrument shows alone."""
    known = [floor for floor in floors if floor is not None and math.isfinite(floor)]
    return "at the floor" if known and _hidden(value, max(known), unit) else ""


def _hidden(value: float, floor: float, unit: str) -> bool:
    return value < floor + 3.0 if unit.startswith("dB") else value < 1.41 * floor
