"""A sheet of readings as numbers: corrected for the instruments, each with its uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

from stagefx.bench.errors import ReadingsError
from stagefx.bench.readings.closed_forms.levels import average_reading_error_db, curve_db
from stagefx.bench.readings.files import Readings
from stagefx.bench.readings.kinds import Noise, Response
from stagefx.bench.readings.reading import Curve, Reading
from stagefx.bench.readings.unit_mistakes import slip
from stagefx.bench.uncertainty import Measured, carry, combined, stated
from stagefx.units import Quantity, ratio, show

Kind = TypeVar("Kind", bound=Reading)
_REFERENCE_HZ = 1000.0


@dataclass(frozen=True)
class Sheet:
    """Readings, counted from 1 as they stand in their file."""

    readings: Readings

    def of(self, kind: type[Kind]) -> list[tuple[int, Kind]]:
        """All readings of a kind."""
        numbered = enumerate(self.readings.reading, start=1)
        return [(number, one) for number, one in numbered if isinstance(one, kind)]

    def named(self, number: int) -> str:
        """A reading's number and kind, for people."""
        return f"reading {number} ({self.readings.reading[number - 1].of})"

    def value(self, number: int, key: str) -> Measured:
        """A value that was read, with probe and meter taken into account."""
        reading = self.readings.reading[number - 1]
        quantity: Quantity = getattr(reading, key)
        half_width, assumed = reading.half_width(key)
        factor = reading.probe if key in reading.probed else 1.0
        if reading.reads[key].unit == "V rms":
            factor /= self._meter_ratio(number, reading, key)
        return stated(quantity.value * factor, half_width * factor, reading=number, assumed=assumed)

    def set_to(self, number: int, key: str) -> Measured:
        """A value that was set, with its tolerance."""
        quantity: Quantity = getattr(self.readings.reading[number - 1], key)
        return stated(quantity.value, abs(quantity.value) * (quantity.tolerance or 0.0))

    def _meter_ratio(self, number: int, reading: Reading, key: str) -> float:
        """What the meter shows over what is there."""
        found = 1.0
        if reading.responds == "average":
            found *= ratio(average_reading_error_db(wave_of(reading)))
        hz = getattr(reading, "frequency", None)
        if reading.meter is not None and hz is not None:
            at = _REFERENCE_HZ if key == "reference" else hz.value
            found *= ratio(self.own_db(number, reading.meter, at, "meter"))
        return found

    def own_db(self, number: int, curve: Curve, hz: float, what: str) -> float:
        """An instrument's own level at a frequency."""
        points = [(f.value, level.value) for f, level in curve]
        found = curve_db(points, hz)
        if found is None:
            raise ReadingsError(
                f"{self.named(number)}: {what} is not known at {show(hz, 'Hz')}, only up to "
                f"{show(points[-1][0], 'Hz')}; add its level there"
            )
        return found

    def level_db(self, number: int) -> Measured:
        """The level of a response reading re 1 kHz, meter and generator taken out."""
        reading = self.readings.reading[number - 1]
        assert isinstance(reading, Response)
        if reading.level is None:
            volts = self.value(number, "output"), self.value(number, "reference")
            found = carry(lambda out, re: 20.0 * math.log10(out / re), *volts)
        else:
            found = self.value(number, "level")
            found = self._less(found, number, reading.meter, reading.frequency.value, "meter")
        return self._less(found, number, reading.generator, reading.frequency.value, "generator")

    def _less(
        self, level: Measured, number: int, curve: Curve | None, hz: float, what: str
    ) -> Measured:
        if curve is None:
            return level
        own = self.own_db(number, curve, hz, what) - self.own_db(number, curve, _REFERENCE_HZ, what)
        return carry(lambda db: db - own, level)

    def agreed(self, estimates: Sequence[Measured], what: str, unit: str) -> Measured:
        """What several readings of one thing say together."""
        for index, first in enumerate(estimates):
            for second in estimates[index + 1 :]:
                if not first.meets(second):
                    raise ReadingsError(self.contradiction(first, second, what, unit))
        return combined(estimates)

    def contradiction(self, first: Measured, second: Measured, what: str, unit: str) -> str:
        """What two readings that cannot both be right say."""
        names = " and ".join(
            ", ".join(self.named(number) for number in one.readings) for one in (first, second)
        )
        shown = " and ".join(
            f"{show(one.value, unit)} ({show(one.low, unit)} to {show(one.high, unit)})"
            for one in (first, second)
        )
        guess = slip(first.value / second.value if second.value else math.inf)
        ending = f"; {guess}" if guess else "; read them again, or leave one of them out"
        return f"{names} contradict each other: {what} of {shown}{ending}"


def wave_of(reading: Reading) -> str:
    """The wave that a reading was taken with."""
    return reading.wave or ("noise" if isinstance(reading, Noise) else "sine")
