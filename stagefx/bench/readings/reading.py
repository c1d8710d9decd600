"""What every reading has: what was set, what was read, and how well it can be read.

What was *set* (a frequency, a load) is taken as it is written, with its tolerance where one
stands behind it ("1 kohm 1 %").  What was *read* has an uncertainty: its own tolerance, else the
reading's ``uncertainty``, else what is usual for the instrument.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from types import MappingProxyType
from typing import ClassVar, Literal

from pydantic import Field, field_validator, model_validator

from stagefx.circuit.description import fields
from stagefx.circuit.description.stage import Table
from stagefx.errors import UnitError
from stagefx.units import Quantity, parse


class Read:
    """How a value of a reading is read: its unit, and what is usual where nothing is stated."""

    def __init__(self, unit: str, usual: str) -> None:
        self.unit = unit
        self.usual = usual


Curve = tuple[tuple[fields.Frequency, fields.Decibels], ...]
"""An instrument's own response: pairs of frequency and level."""


class Reading(Table):
    """What every reading may carry."""

    reads: ClassVar[Mapping[str, Read]] = MappingProxyType({})
    probed: ClassVar[tuple[str, ...]] = ()
    """The values that an instrument's probe factor multiplies."""

    uncertainty: str | dict[str, str] | None = None
    probe: float = Field(default=1.0, gt=0.0, le=1000.0)
    meter: Curve | None = None
    responds: Literal["rms", "average"] | None = None
    wave: Literal["sine", "square", "triangle", "noise"] | None = None
    notes: str = ""

    @field_validator("meter")
    @classmethod
    def _rising(cls, value: Curve | None) -> Curve | None:
        if value is not None:
            hz = [pair[0].value for pair in value]
            if len(hz) < 1 or any(b <= a for a, b in pairwise(hz)):
                raise ValueError("frequencies must rise, and each stand once")
        return value

    @model_validator(mode="after")
    def _uncertainty_fits(self) -> Reading:
        if isinstance(self.uncertainty, dict):
            for key in self.uncertainty:
                if key not in self.reads:
                    known = ", ".join(self.reads)
                    raise ValueError(f"uncertainty is of what was read ({known}), not of '{key}'")
        for key in self.reads:
            value = getattr(self, key)
            if value is not None:
                self.half_width(key)
        return self

    def half_width(self, key: str) -> tuple[float, bool]:
        """By how much a value may be wrong, as stated or as usual."""
        value: Quantity = getattr(self, key)
        if value.tolerance is not None:
            return abs(value.value) * value.tolerance, False
        stated = self.uncertainty
        text = stated.get(key) if isinstance(stated, dict) else stated
        read = self.reads[key]
        if text is None:
            return half_width(read.usual, value.value, read.unit), True
        return half_width(text, value.value, read.unit), False


def half_width(text: str, value: float, unit: str) -> float:
    """What an uncertainty comes to."""
    body = text.strip().removeprefix("±").removeprefix("+/-").strip()
    found = None
    if unit != "%" and body.endswith("%"):
        share = parse(body, "%").value
        found = _as_level(share) if unit == "dB" else abs(value) * share
    elif unit != "dB" and body.endswith("dB"):
        found = abs(value) * (10.0 ** (parse(body, "dB").value / 20.0) - 1.0)
    else:
        try:
            found = parse(body, unit).value
        except UnitError as error:
            raise UnitError(f"uncertainty {error}") from None
    if found < 0.0:
        raise UnitError(f'uncertainty "{text}" is negative; it must be at least 0')
    return found


def _as_level(share: float) -> float:
    from math import log10

    return 20.0 * log10(1.0 + share)
