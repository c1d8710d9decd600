"""Test signals, printed for people: what each is for, and what to do with them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from stagefx.bench.signals.sheet import SHEET_NAME
from stagefx.figures.cautions import CAUTIONS

from ..words import heading, sentence, table

if TYPE_CHECKING:
    from rich.console import Console

    from stagefx.bench.signals.signal import TestSignal


def print_signals(console: Console, folder: Path, signals: tuple[TestSignal, ...]) -> None:
    """Print which signals were written, and what comes next."""
    seconds = sum(signal.frames / signal.rate_hz for signal in signals)
    rate_khz = signals[0].rate_hz / 1e3
    console.print(
        f"{len(signals)} test signals for {rate_khz:g} kHz, {seconds / 60.0:.1f} minutes together, "
        f"in {sentence(str(folder))}",
        style="bold",
    )
    rows = table(22, -5, 0)
    for signal in signals:
        rows.add_row(signal.name, f"{signal.frames / signal.rate_hz:.0f} s", signal.purpose)
    console.print(rows)
    for signal in signals:
        if signal.note:
            console.print(f"{signal.name}: {signal.note}.")
    heading(console, "Before anything is connected")
    console.print(CAUTIONS["speakers-off"])
    console.print(CAUTIONS["scope-ground"])
    console.print(f"{SHEET_NAME} in that folder says how to connect, and at what level.")


def as_plain(folder: Path, signals: tuple[TestSignal, ...]) -> dict[str, Any]:
    """What was written, as plain values."""
    return {
        "folder": str(folder),
        "rate_hz": signals[0].rate_hz,
        "sheet": SHEET_NAME,
        "signals": [
            {
                "file": f"{signal.name}.wav",
                "duration_s": signal.frames / signal.rate_hz,
                "purpose": signal.purpose,
                "note": signal.note,
            }
            for signal in signals
        ],
    }
