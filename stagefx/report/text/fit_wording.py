"""Words and digits for a fit: what a figure is called, how sure it is, which numbers to show."""

from __future__ import annotations

import math

from stagefx.bench.fit.report import FittedFigure, FittedStage, Row
from stagefx.bench.readings.report import Found
from stagefx.bench.uncertainty import stated
from stagefx.report.text.numbers import amount
from stagefx.units import UNITS, show

SHOWN_HZ = (30.0, 100.0, 10e3, 20e3, 40e3, 80e3)
"""At which of its many frequencies a response is shown in a table."""
_CROSSTALK_HZ = frozenset({125.0, 1000.0, 8000.0})
_SCALES = {"V/s": (1e-6, "V/us"), "F/m": (1e12, "pF/m")}
_PLAIN = {
    "input_cable.capacitance": "input cable",
    "input_cable.capacitance_per_metre": "input cable",
    "output_cable.capacitance": "output cable",
    "output_cable.capacitance_per_metre": "output cable",
    "volume.position": "knob stood at",
    "volume.mismatch": "balance of the control",
    "amplifier.harmonics": "harmonic",
    "output.resistance": "output resistor",
    "load.capacitance": "load's capacitance",
}


def figure_name(one: FittedFigure) -> str:
    """What a free figure is called."""
    if one.key == "amplifier.harmonics":
        return f"harmonic {one.index + 2}"
    return key_name(one.key)


def key_name(key: str) -> str:
    """What a key of the stage file is called."""
    table, _, rest = key.partition(".")
    words = rest.replace("_", " ")
    return _PLAIN.get(key) or (words if table == "amplifier" else f"{table} {words}")


def figure_value(one: FittedFigure) -> str:
    """A figure's value and standard error; where it is held, what it is held at."""
    if one.value is None:
        return "-" if one.before is None else _shown(one.before, one.unit)
    scale, unit = _SCALES.get(one.unit, (1.0, one.unit))
    return str(Found(one.key, stated(one.value * scale, one.doubt * scale), unit))


def figure_note(one: FittedFigure) -> str:
    """What was said before, or why a figure is not known."""
    if one.value is not None:
        was = "" if one.before is None else f"was {_shown(one.before, one.unit)}"
        if one.key == "volume.position":
            was = "found from the gain"
        elif one.before is not None and not one.changes:
            was = "as described"
        if one.state == "others held" and one.others:
            return f"{was}; {_listed(one)} held as described".removeprefix("; ")
        return was
    if one.at_least is not None:
        return f"no slewing seen, so over {_shown(one.at_least, one.unit)}"
    if one.state == "not told apart" and one.others:
        return f"cannot be told apart from {_listed(one)}"
    return "not seen in what was measured"


def _listed(one: FittedFigure) -> str:
    return " and ".join(key_name(key) for key in one.others)


def _shown(value: float, unit: str) -> str:
    return show(value, unit) if unit in UNITS else f"{value:.3g}"


def told_rows(fitted: FittedStage) -> tuple[tuple[str, Row], ...]:
    """The measured numbers to be shown in a table, with their names."""
    several = len({row.load_ohm for row in fitted.rows}) > 1
    picked = []
    for row in fitted.rows:
        name = row.kind
        if row.kind in {"response", "crosstalk"} and row.hz is not None:
            if row.kind == "response" and row not in _nearest(fitted, row.load_ohm):
                continue
            if row.kind == "crosstalk" and row.hz not in _CROSSTALK_HZ:
                continue
            name = f"{row.kind}, {amount(row.hz, 'Hz')}"
        if several and row.load_ohm is not None:
            name = f"{name}, {show(row.load_ohm, 'ohm', digits=3)}"
        picked.append((name, row))
    return tuple(picked)


def _nearest(fitted: FittedStage, load_ohm: float | None) -> list[Row]:
    rows = [
        row for row in fitted.rows if row.kind == "response" and row.load_ohm == load_ohm and row.hz
    ]
    highest = max((row.hz or 0.0 for row in rows), default=0.0)
    wanted = [hz for hz in SHOWN_HZ if hz < 0.95 * highest] + [highest]
    return [min(rows, key=lambda row: abs(math.log((row.hz or 1.0) / hz))) for hz in wanted if rows]
