"""The catalogue, printed for people and as plain values."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from stagefx.circuit.description.devices import device_class, device_classes
from stagefx.circuit.description.files import (
    load_stage,
    ready_made,
    stage_as_toml,
    stage_tables,
    stage_text,
)
from stagefx.circuit.description.stage import DeviceFigures
from stagefx.errors import StageError, nearest
from stagefx.units import decibels

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

WIRE = "wire"
WIRE_NOTES = "The ideal stage: gain and nothing else."


def contents() -> dict[str, Any]:
    """What the catalogue holds, as plain values."""
    devices = device_classes().values()
    return {
        "stages": [{"name": name, "notes": notes} for name, notes in _stages()],
        "devices": [{"name": device.name, "notes": device.notes} for device in devices],
    }


def entry(name: str) -> dict[str, Any]:
    """One entry of the catalogue, as plain values."""
    if _is_stage(name):
        return {"name": name, "stage": stage_tables(load_stage(name))}
    rows = _device_rows(name)
    figures = {key: {"low": low, "usual": usual, "high": high} for key, low, usual, high in rows}
    return {"name": name, "device": {"notes": device_class(name).notes, "figures": figures}}


def print_contents(console: Console) -> None:
    """Print one line an entry."""
    stages = _list("Ready-made stages")
    for name, notes in _stages():
        stages.add_row(name, notes)
    devices = _list("Device classes")
    for device in device_classes().values():
        devices.add_row(device.name, device.notes)
    console.print(stages)
    console.print()
    console.print(devices)
    console.print("\nOne in full: stagefx catalogue NAME")


def print_entry(console: Console, name: str) -> None:
    """Print a ready-made stage as its stage file, or a device class as a table."""
    if _is_stage(name):
        text = stage_as_toml(load_stage(WIRE)) if name == WIRE else stage_text(name)
        click.echo(text, nl=False)
        return
    table = _table()
    for title in (name, "low", "usual", "high"):
        table.add_column(title, justify="left" if title == name else "right")
    for row in _device_rows(name):
        table.add_row(row[0].replace("_", " "), *row[1:])
    console.print(table)
    console.print(f"\n{device_class(name).notes}\nCommon practice: no column is any one part's.")


def _stages() -> list[tuple[str, str]]:
    return [*((name, load_stage(name).notes) for name in ready_made()), (WIRE, WIRE_NOTES)]


def _is_stage(name: str) -> bool:
    stages, devices = (*ready_made(), WIRE), device_classes()
    if name not in stages and name not in devices:
        raise StageError(
            f"the catalogue has no stage or device class '{name}'"
            f"{nearest(name, [*stages, *devices])}"
        )
    return name in stages


def _device_rows(name: str) -> list[tuple[str, str, str, str]]:
    """Key, low, usual and high of every figure that is known of a class of device."""
    found = device_class(name)
    low, usual, high = (_texts(figures) for figures in (found.low, found.usual, found.high))
    return [(key, low[key], usual[key], high[key]) for key in usual]


def _texts(figures: DeviceFigures) -> dict[str, str]:
    dumped = figures.model_dump(mode="json", exclude_none=True)
    return {
        key: f"{decibels(value):.4g} dB" if isinstance(value, float) else str(value)
        for key, value in dumped.items()
    }


def _table() -> Table:
    from rich.table import Table

    return Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")


def _list(title: str) -> Table:
    table = _table()
    table.add_column(title, no_wrap=True, min_width=24)
    table.add_column("")
    return table
