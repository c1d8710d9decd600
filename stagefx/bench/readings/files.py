"""Readings files: what a meter and a scope said of a real stage, as people type it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Literal, get_args

from pydantic import Field, ValidationError, field_validator

from stagefx.bench.errors import ReadingsError
from stagefx.bench.readings.kinds import AnyReading
from stagefx.bench.readings.reading import Reading
from stagefx.circuit.description.devices import device_class
from stagefx.circuit.description.stage import Table
from stagefx.errors import StageError, nearest
from stagefx.io.texts import from_toml

KINDS: dict[str, type[Reading]] = {
    get_args(kind.model_fields["of"].annotation)[0]: kind
    for kind in get_args(get_args(AnyReading)[0])
}
"""The kinds of reading by the name that stands behind ``of``."""


class Readings(Table):
    """A sheet of readings of one stage, taken with its knob in one place.

    ``device`` is the class of device by its marking; ``topology`` how it is wired; ``knob`` the
    control's position, 0 to 1, while the readings were taken; ``connected`` whether the stage's
    own cable and load hung on its output meanwhile, where a reading states no load of its own.
    """

    name: str = "measured stage"
    notes: str = ""
    device: str | None = None
    topology: Literal["non-inverting", "inverting", "follower"] | None = None
    knob: float = Field(default=1.0, ge=0.0, le=1.0, strict=True)
    connected: Literal["nothing", "load"] = "nothing"
    reading: tuple[AnyReading, ...] = Field(min_length=1)

    @field_validator("device")
    @classmethod
    def _known(cls, value: str | None) -> str | None:
        if value is not None:
            try:
                device_class(value)
            except StageError as error:
                raise ValueError(str(error)) from None
        return value


def load_readings(path: str | Path) -> Readings:
    """A sheet of readings from a file.

    Parameters
    ----------
    path : str or Path
        A readings file: TOML in UTF-8.

    Returns
    -------
    Readings
        The readings, checked one by one.

    Raises
    ------
    ReadingsError
        No such file, not readable, or not a sheet of readings.

    Examples
    --------
    >>> load_readings("nowhere.toml")
    Traceback (most recent call last):
    stagefx.bench.errors.ReadingsError: nowhere.toml: there is no such file
    """
    try:
        text = Path(path).read_text("utf-8-sig")
    except FileNotFoundError:
        raise ReadingsError(f"{path}: there is no such file") from None
    except UnicodeDecodeError:
        raise ReadingsError(f"{path}: no text file; a readings file is TOML in UTF-8") from None
    except OSError as error:
        raise ReadingsError(f"{path}: cannot be read: {error.strerror}") from None
    return read_readings(text, where=str(path))


def read_readings(text: str, *, where: str = "the readings") -> Readings:
    r"""A sheet of readings from the text of a readings file."""
    try:
        tables = from_toml(text)
    except ValueError as error:
        complaint = str(error)
        raise ReadingsError(f"{where}: not TOML: {complaint[:1].lower()}{complaint[1:]}") from None
    return readings_from(tables, where=where)


def readings_from(tables: Mapping[str, Any], *, where: str = "the readings") -> Readings:
    """A sheet of readings from nested tables."""
    try:
        return Readings.model_validate(tables)
    except ValidationError as error:
        raise ReadingsError(f"{where}: {_complaint(error)}") from None


def _complaint(error: ValidationError) -> str:
    """The first fault, in words: unknown names before bad values."""
    faults = sorted(error.errors(), key=lambda fault: fault["type"] != "extra_forbidden")
    fault = faults[0]
    path = fault["loc"]
    if path[:1] == ("reading",) and len(path) > 1:
        return _of_reading(fault, path)
    if fault["type"] == "extra_forbidden":
        known = nearest(str(path[-1]), Readings.model_fields)
        return f"unknown table or key '{path[-1]}'{known}"
    if path == ("reading",):
        return "there is no reading; write each as [[reading]], and below it of = its kind"
    return f"{path[-1]}: {_message(fault)}"


def _of_reading(fault: Any, path: Sequence[int | str]) -> str:
    place = f"reading {int(path[1]) + 1}"
    if fault["type"] == "union_tag_not_found":
        return f'{place}: of, its kind, is missing; write it like of = "gain"'
    if fault["type"] == "union_tag_invalid":
        kind = str(fault["ctx"]["tag"])
        return f"{place}: no kind of reading '{kind}'{nearest(kind, KINDS)}"
    if len(path) < 3:
        return f"{place}: {_message(fault)}"
    place = f"{place} ({path[2]})"
    if fault["type"] == "extra_forbidden":
        known = [key for key in KINDS[str(path[2])].model_fields if key != "of"]
        return f"{place}: unknown key '{path[-1]}'{nearest(str(path[-1]), known)}"
    if (
        path[3:4] in {("meter",), ("generator",)}
        and len(path) > 4
        and fault["type"] != "value_error"
    ):
        return f'{place}, {path[3]}: it must be pairs like [["1 kHz", "0 dB"], ["10 kHz", "-1 dB"]]'
    if fault["type"] == "missing":
        return f"{place}: {path[-1]} is missing{_HINTS.get(str(path[-1]), '')}"
    items = ", item ".join(f"{p + 1}" if isinstance(p, int) else p for p in path[3:])
    return f"{place}{', ' if items else ''}{items}: {_message(fault)}"


_HINTS = {
    "definition": (
        '; it is "one top" (droop of one top, start to end), "half peak-to-peak" (over half the '
        'peak-to-peak) or "rule" (pi fc/f): for one stage they read 9.5, 9.99 and 10 %'
    ),
    "load": ', the resistance that was connected; write it like "1 kohm"',
}


def _message(fault: Any) -> str:
    message = str(fault["msg"]).removeprefix("Value error, ")
    if fault["type"] == "value_error":
        return message
    for technical, plain in _PLAIN_WORDS.items():
        message = message.replace(technical, plain)
    return f"{fault['input']!r}: {message}"


_PLAIN_WORDS = {
    "Input should be": "it must be",
    "a valid string": "a text in quotes",
    "a valid tuple": "a list",
    "a valid number": "a number",
    "greater than or equal to": "at least",
    "less than or equal to": "at most",
    "greater than": "more than",
}
