"""The classes of amplifying device, with low, usual and high figures."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any

from stagefx.circuit.description.stage import Amplifier, DeviceFigures
from stagefx.errors import StageError, nearest

Figure = Any
"""A figure as `DeviceFigures` holds it: a quantity, or a plain ratio for the open-loop gain."""


@dataclass(frozen=True)
class DeviceClass:
    """A class of device: what its figures usually are, and between what they lie."""

    name: str
    notes: str
    low: DeviceFigures
    usual: DeviceFigures
    high: DeviceFigures


@cache
def device_classes() -> MappingProxyType[str, DeviceClass]:
    """All classes of device.

    Returns
    -------
    mapping of str to DeviceClass
        By name, in the order of the catalogue.

    Notes
    -----
    The figures are common practice, from memory, and rounded: no row is any one part's.

    Examples
    --------
    >>> device_classes()["FET-input"].usual.gain_bandwidth.value
    8000000.0
    """
    text = resources.files("stagefx.circuit.catalogue").joinpath("devices.toml").read_text("utf-8")
    return MappingProxyType(
        {name: _device_class(name, table) for name, table in tomllib.loads(text).items()}
    )


def _device_class(name: str, table: dict[str, Any]) -> DeviceClass:
    figures = {key: value for key, value in table.items() if key != "notes"}
    low, usual, high = (
        DeviceFigures.model_validate({key: value[i] for key, value in figures.items()})
        for i in range(3)
    )
    return DeviceClass(name, table["notes"], low, usual, high)


def device_class(name: str) -> DeviceClass:
    """A class of device by name.

    Parameters
    ----------
    name : str
        As written in a stage file.

    Returns
    -------
    DeviceClass
        Its figures.

    Raises
    ------
    StageError
        No class of that name; the nearest is suggested.

    Examples
    --------
    >>> device_class("fast bipolar").usual.slew_rise.value
    20000000.0
    """
    classes = device_classes()
    if name not in classes:
        raise StageError(f"no device class '{name}'{nearest(name, classes)}")
    return classes[name]


def device_figure(amplifier: Amplifier, key: str) -> tuple[Figure, Figure, Figure] | None:
    """A device figure of an amplifier: its own where it states one, else its class's."""
    own = getattr(amplifier, key)
    if own is not None:
        return own, own, own
    if amplifier.device is None:
        return None
    known = device_class(amplifier.device)
    low, usual, high = (getattr(f, key) for f in (known.low, known.usual, known.high))
    return None if usual is None else (low, usual, high)
