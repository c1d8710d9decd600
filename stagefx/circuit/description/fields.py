"""The kinds of value a stage file may hold: each with its unit, its range and its JSON schema."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator, GetJsonSchemaHandler, WithJsonSchema
from pydantic_core import CoreSchema, core_schema

from stagefx.errors import UnitError
from stagefx.units import NEEDS_UNIT_EVEN_AT_ZERO, UNITS, Quantity, parse, ratio, show


def written(quantity: Quantity, unit: str) -> str:
    """A quantity as it stands in a stage file."""
    digits = 12  # what people type; more only where a value was worked out
    while parse(text := show(quantity.value, unit, digits=digits), unit).value != quantity.value:
        if digits == 17:
            break
        digits += 1
    return text if quantity.tolerance is None else f"{text} {quantity.tolerance * 100.0:.12g} %"


@dataclass(frozen=True)
class Measure:
    """A unit and a range: how a field of a stage file is read, checked and written."""

    unit: str
    minimum: float = -math.inf
    maximum: float = math.inf
    above: bool = False
    doubt: str = ""

    def read(self, value: Any) -> Quantity:
        """Read and check what was typed."""
        quantity = value if isinstance(value, Quantity) else parse(value, self.unit)
        short = quantity.value <= self.minimum if self.above else quantity.value < self.minimum
        if short or quantity.value > self.maximum:
            least = "more than" if self.above else "at least"
            bound = f"{least} {show(self.minimum, self.unit)}"
            bound = bound if short else f"at most {show(self.maximum, self.unit)}"
            raise UnitError(
                f"{show(quantity.value, self.unit)} is out of range; it must be {bound}{self.doubt}"
            )
        return quantity

    def __get_pydantic_core_schema__(self, _source: Any, _handler: Any) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(
            self.read,
            serialization=core_schema.plain_serializer_function_ser_schema(
                lambda quantity: written(quantity, self.unit),
                return_schema=core_schema.str_schema(),
            ),
        )

    def __get_pydantic_json_schema__(
        self, _schema: CoreSchema, _handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        known = UNITS[self.unit]
        written_out = {"type": "string", "unit": known.symbol, "examples": [known.example]}
        if self.unit in NEEDS_UNIT_EVEN_AT_ZERO or self.above:
            return written_out
        return {"anyOf": [written_out, {"const": 0}]}


HIGHEST_GAIN = 1e12


def _gain_reader(value: Any) -> float:
    found = value
    if isinstance(value, str):
        level_db = parse(value, "dB").value
        found = ratio(level_db) if abs(level_db) < 1e3 else math.nan
    elif isinstance(value, bool) or not isinstance(value, int | float):
        raise UnitError(f'{value!r} is no gain; write a ratio like 4.03, or "12.1 dB"')
    if not 0.0 < found <= HIGHEST_GAIN:
        raise UnitError(
            f"a gain of {value} cannot be; write a ratio above zero like 4.03, or decibels like "
            '"12.1 dB"'
        )
    return float(found)


SWAPPED = "; are the rails swapped?"

Resistance = Annotated[Quantity, Measure("ohm", 0.0, 1e12)]
Impedance = Annotated[Quantity, Measure("ohm", 0.0, 1e12, above=True)]
Capacitance = Annotated[Quantity, Measure("F", 0.0, 1.0, above=True)]
StrayCapacitance = Annotated[Quantity, Measure("F", 0.0, 1.0)]
CapacitancePerMetre = Annotated[Quantity, Measure("F/m", 0.0, 1e-6)]
Length = Annotated[Quantity, Measure("m", 0.0, 1e4)]
Distance = Annotated[Quantity, Measure("m", 0.0, 1e4, above=True)]
RmsVolts = Annotated[Quantity, Measure("V rms", 0.0, 1e4)]
SourceLevel = Annotated[Quantity, Measure("V rms", 0.0, 1e3, above=True)]
PeakVolts = Annotated[Quantity, Measure("V peak", 0.0, 1e4)]
DirectVolts = Annotated[Quantity, Measure("V", -1e3, 1e3)]
PositiveVolts = Annotated[Quantity, Measure("V", 0.0, 1e3, above=True)]
AtLeastZeroVolts = Annotated[Quantity, Measure("V", 0.0, 1e3)]
PositiveRail = Annotated[Quantity, Measure("V", 0.0, 1e3, above=True, doubt=SWAPPED)]
NegativeRail = Annotated[Quantity, Measure("V", -1e3, 0.0, doubt=SWAPPED)]
Current = Annotated[Quantity, Measure("A", 0.0, 1e3)]
SignedCurrent = Annotated[Quantity, Measure("A", -1.0, 1.0)]
Power = Annotated[Quantity, Measure("W", 0.0, 1e5, above=True)]
Frequency = Annotated[Quantity, Measure("Hz", 0.0, 1e12, above=True)]
SlewRate = Annotated[Quantity, Measure("V/s", 0.0, 1e12, above=True)]
VoltageNoise = Annotated[Quantity, Measure("V/rtHz", 0.0, 1e-3)]
CurrentNoise = Annotated[Quantity, Measure("A/rtHz", 0.0, 1e-3)]
Decibels = Annotated[Quantity, Measure("dB", -300.0, 300.0)]
Rejection = Annotated[Quantity, Measure("dB", 0.0, 300.0)]
Sensitivity = Annotated[Quantity, Measure("dB at 1 m", 0.0, 150.0)]
SoundLevel = Annotated[Quantity, Measure("dBA", -50.0, 150.0)]
Share = Annotated[Quantity, Measure("%", 0.0, 1.0)]
Temperature = Annotated[Quantity, Measure("K", 100.0, 500.0)]
Gain = Annotated[
    float,
    BeforeValidator(_gain_reader),
    WithJsonSchema({"type": ["number", "string"], "examples": [4.03, "12.1 dB"]}),
]
