"""A stage in the making: what the readings have told of it so far."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from stagefx.bench.errors import ReadingsError
from stagefx.bench.readings.report import Found, Remark
from stagefx.bench.readings.sheet import Sheet
from stagefx.bench.uncertainty import Measured, rounded
from stagefx.circuit.description.files import stage_from, stage_tables
from stagefx.circuit.description.stage import Amplifier, Stage
from stagefx.errors import StageError
from stagefx.units import Quantity


@dataclass(frozen=True)
class Draft:
    """A stage in the making."""

    sheet: Sheet
    stage: Stage
    described: bool
    found: tuple[Found, ...] = ()
    remarks: tuple[Remark, ...] = ()

    @property
    def knob(self) -> float:
        """Where the control stood."""
        return self.sheet.readings.knob

    def amplifier_for(self, number: int) -> Amplifier:
        """The amplifier that a reading is about."""
        if self.stage.amplifier is not None:
            return self.stage.amplifier
        name = self.sheet.named(number)
        if self.described:
            raise ReadingsError(f"{name}: the stage that was described has no amplifier")
        raise ReadingsError(f"{name} needs the amplifier's gain: a gain reading is missing")

    def having(self, table: str, **values: Any) -> Draft:
        """With values in a table of the stage."""
        tables = stage_tables(self.stage)
        kept = {**tables.get(table, {}), **values}
        tables[table] = {key: value for key, value in kept.items() if value is not None}
        if not tables[table]:
            del tables[table]
        try:
            return replace(self, stage=stage_from(tables, where="the stage that the readings make"))
        except StageError as error:
            raise ReadingsError(str(error)) from None

    def reporting(
        self, key: str, measured: Measured, unit: str, *, part: str = "", note: str = ""
    ) -> Draft:
        """With one more figure found; an earlier one of the same name gives way."""
        fresh = Found(key, measured, unit, part, note)
        kept = tuple(one for one in self.found if one.key != key)
        return replace(self, found=(*kept, fresh))

    def placing(
        self,
        part: str,
        measured: Measured,
        key: str,
        unit: str,
        *,
        size: float = 1.0,
        note: str = "",
    ) -> Draft:
        """With a part found, its uncertainty as its tolerance."""
        table, _, name = part.partition(".")
        quantity = as_quantity(measured, size=size)
        placed = self.having(table, **{name: quantity})
        return placed.reporting(key, measured, unit, part=part, note=note)

    def remarking(self, code: str, sentence: str, *readings: int) -> Draft:
        """With one more remark; the same one is not made twice."""
        fresh = Remark(code, sentence, readings)
        kept = [r for r in self.remarks if (r.code, r.readings) != (code, readings)]
        return replace(self, remarks=(*kept, fresh))


def as_quantity(measured: Measured, *, size: float = 1.0) -> Quantity:
    """A value for a stage file: no more digits than mean something, and its tolerance."""
    value = rounded(measured.value * size, measured.uncertainty * size) + 0.0  # no minus zero
    if value == 0.0 or measured.uncertainty == 0.0:
        return Quantity(value)
    percent = 100.0 * measured.uncertainty / abs(measured.value)
    # as a file's text is read, so that the stage reads back to itself
    return Quantity(value, min(float(f"{percent:.2g}") / 100.0, 1.0))
