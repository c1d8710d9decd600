"""A measurement read back from the file it was kept in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from types import MappingProxyType
from typing import Any

from stagefx.bench.errors import MeasuringError
from stagefx.bench.measure.measurement import Measurement, Synchronisation
from stagefx.bench.measure.rows import (
    Balance,
    Clip,
    Crosstalk,
    Harmonics,
    HumLine,
    Level,
    Noise,
    NoiseBand,
    Product,
    ResponsePoint,
    Slew,
    Square,
)
from stagefx.io.texts import from_json

_ROWS: Mapping[str, type] = MappingProxyType(
    {
        "synchronisation": Synchronisation,
        "levels": Level,
        "response": ResponsePoint,
        "harmonics": Harmonics,
        "squares": Square,
        "balance": Balance,
        "crosstalk": Crosstalk,
    }
)
_WITHIN: Mapping[str, type] = MappingProxyType({"hum": HumLine, "bands": NoiseBand})
_ONES: Mapping[str, type] = MappingProxyType({"noise": Noise, "clip": Clip, "slew": Slew})


def load_measurement(place: str | Path) -> Measurement:
    """A measurement that was kept as a file."""
    try:
        plain = from_json(Path(place).read_text(encoding="utf-8"))
    except OSError as error:
        raise MeasuringError(f"{place} cannot be read ({error.strerror}); give a file") from None
    except ValueError:
        plain = None
    try:
        return measurement_from_json(plain)
    except MeasuringError as error:
        raise MeasuringError(f"{place} {error}") from None


def measurement_from_json(plain: Any) -> Measurement:
    """A measurement from plain values; a `MeasuringError` where they are none."""
    try:
        return _read(plain)
    except (AttributeError, KeyError, TypeError, ValueError):
        raise MeasuringError(
            "is no measurement; give a JSON file that 'stagefx bench measure --save' or "
            "'stagefx bench expect --save' wrote"
        ) from None


def _read(plain: Mapping[str, Any]) -> Measurement:
    if not isinstance(plain["made_by"], str):
        raise TypeError
    given: dict[str, Any] = {}
    for one in fields(Measurement):
        if one.name not in plain:
            continue
        value = _number(plain[one.name])
        if value is None:
            continue
        if one.name in _ROWS:
            value = tuple(_row(_ROWS[one.name], row) for row in value)
        elif one.name in _ONES:
            value = _row(_ONES[one.name], value)
        elif one.name == "intermodulation":
            value = {name: _row(Product, row) for name, row in value.items()}
        elif one.name == "floor":
            value = {name: _read(row) for name, row in value.items()}
        given[one.name] = tuple(value) if isinstance(value, list) else value
    return Measurement(**given)


def _row(kind: type, plain: Mapping[str, Any]) -> Any:
    given: dict[str, Any] = {}
    for one in fields(kind):
        if one.name not in plain:
            continue
        value = _number(plain[one.name])
        if one.name in _WITHIN:
            value = tuple(_row(_WITHIN[one.name], row) for row in value)
        given[one.name] = tuple(map(_number, value)) if isinstance(value, list) else value
    return kind(**given)


def _number(value: Any) -> Any:
    """A value; none or minus infinity where a null with its reason stands for it."""
    if isinstance(value, Mapping) and set(value) == {"value", "reason"}:
        return {"minus infinity": -float("inf"), "infinite": float("inf")}.get(value["reason"])
    return value
