"""The kinds of reading, as a readings file states them."""

from __future__ import annotations

from types import MappingProxyType
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, field_validator, model_validator

from stagefx.bench.readings.reading import Curve, Read, Reading
from stagefx.circuit.description import fields
from stagefx.circuit.description.fields import Measure
from stagefx.errors import UnitError
from stagefx.units import Quantity, parse

METER, SAME_METER, SCOPE = "1 %", "0.1 %", "3 %"
"""A voltmeter; two readings of one meter on one range, whose scale error cancels; a scope."""

_SLOPES = Read("V/s", "5 %")
_VOLTS = Read("V rms", METER)


def _step(value: Any) -> Any:
    """A step from bottom to top: "10 V", "10 V p-p", or "5 V peak" about 0 V."""
    if not isinstance(value, str):
        return value
    if value.rstrip().lower().endswith("rms"):
        raise UnitError(f'"{value}": a step is from bottom to top; write it like "10 V p-p"')
    quantity = parse(value, "V peak")
    both_ways = value.rstrip().lower().endswith(("p-p", "pp", "peak", "pk", "peak-to-peak"))
    return Quantity(quantity.value * (2.0 if both_ways else 1.0), quantity.tolerance)


ReadVolts = Annotated[Quantity, Measure("V rms", 0.0, 1e4, above=True)]
HighPeak = Annotated[Quantity, Measure("V peak", 0.0, 1e3)]
LowPeak = Annotated[Quantity, Measure("V peak", -1e3, 0.0, doubt="; the low peak is negative")]
Step = Annotated[Quantity, Measure("V", 0.0, 1e4, above=True), BeforeValidator(_step)]
Seconds = Annotated[Quantity, Measure("s", 0.0, 1.0, above=True)]
Percentage = Annotated[Quantity, Measure("%", 0.0, 1.0, above=True)]
AnyCurrent = Annotated[Quantity, Measure("A", -1e3, 1e3)]


class Gain(Reading):
    """Voltage at the output against voltage at the input socket."""

    reads = MappingProxyType({"input": _VOLTS, "output": _VOLTS})
    probed = ("output",)
    of: Literal["gain"]
    input: ReadVolts
    output: ReadVolts
    frequency: fields.Frequency = Quantity(1000.0)
    load: fields.Impedance | None = None


class Response(Reading):
    """Level at a frequency, re 1 kHz; or the voltages there and at 1 kHz."""

    reads = MappingProxyType(
        {
            "level": Read("dB", "0.1 dB"),
            "output": Read("V rms", "0.5 %"),
            "reference": Read("V rms", "0.5 %"),
        }
    )
    of: Literal["response"]
    frequency: fields.Frequency
    level: fields.Decibels | None = None
    output: ReadVolts | None = None
    reference: ReadVolts | None = None
    generator: Curve | None = None
    place: Literal["input", "amplifier", "output"] | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Response:
        volts = (self.output is not None, self.reference is not None)
        if self.level is not None and any(volts):
            raise ValueError("level and volts cannot both be given; leave one of them out")
        if self.level is None and not all(volts):
            missing = "level is missing; or give output and reference, the volts at 1 kHz"
            missing = "reference, the volts at 1 kHz, is missing" if volts[0] else missing
            raise ValueError("output is missing" if volts[1] else missing)
        return self


class Clip(Reading):
    """Where the output flattens: both peaks, or the largest clean sine."""

    reads = MappingProxyType(
        {
            "high": Read("V peak", SCOPE),
            "low": Read("V peak", SCOPE),
            "output": Read("V rms", SCOPE),
        }
    )
    probed = ("high", "low", "output")
    of: Literal["clip"]
    high: HighPeak | None = None
    low: LowPeak | None = None
    output: ReadVolts | None = None
    load: fields.Impedance | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Clip:
        peaks = self.high is not None or self.low is not None
        if peaks == (self.output is not None):
            raise ValueError("give the peaks high and low, or output, the largest clean sine")
        return self


class OutputLoading(Reading):
    """Voltage without and with a load: what resistance it comes from."""

    reads = MappingProxyType(
        {"open": Read("V rms", SAME_METER), "loaded": Read("V rms", SAME_METER)}
    )
    probed = ("open", "loaded")
    of: Literal["output-loading"]
    open: ReadVolts
    loaded: ReadVolts
    load: fields.Impedance
    frequency: fields.Frequency = Quantity(1000.0)
    at: Literal["output", "source"] = "output"


class InputLoading(Reading):
    """Voltage at the input (or after it), the generator straight on and through a resistance."""

    reads = MappingProxyType(
        {"direct": Read("V rms", SAME_METER), "through": Read("V rms", SAME_METER)}
    )
    probed = ("direct", "through")
    of: Literal["input-loading"]
    direct: ReadVolts
    through: ReadVolts
    resistance: fields.Impedance
    frequency: fields.Frequency = Quantity(1000.0)


class RiseTime(Reading):
    """Time from 10 % to 90 % of a step, as seen with the generator's own edge."""

    reads = MappingProxyType({"time": Read("s", "5 %"), "generator": Read("s", "5 %")})
    of: Literal["rise-time"]
    time: Seconds
    generator: Seconds | None = None
    step: Step | None = None
    place: Literal["input", "amplifier", "output"] | None = None


class Slew(Reading):
    """Slope of the output on a step that is large enough to slew."""

    reads = MappingProxyType({"rise": _SLOPES, "fall": _SLOPES})
    probed = ("rise", "fall")
    of: Literal["slew"]
    rise: fields.SlewRate | None = None
    fall: fields.SlewRate | None = None
    step: Step | None = None

    @model_validator(mode="after")
    def _something(self) -> Slew:
        if self.rise is None and self.fall is None:
            raise ValueError("rise is missing, or fall, or both")
        return self


class Tilt(Reading):
    """Droop of a square wave's tops."""

    reads = MappingProxyType({"percent": Read("%", "1 %")})
    of: Literal["tilt"]
    percent: Percentage
    frequency: fields.Frequency
    definition: Literal["one top", "half peak-to-peak", "rule"]


class Overshoot(Reading):
    """How far a small step passes its final value."""

    reads = MappingProxyType({"percent": Read("%", "2 %"), "ringing": Read("Hz", "5 %")})
    of: Literal["overshoot"]
    percent: Percentage
    ringing: fields.Frequency | None = None
    load_capacitance: fields.Capacitance | None = None

    @field_validator("percent")
    @classmethod
    def _less_than_all(cls, value: Quantity) -> Quantity:
        if value.value >= 1.0:
            raise ValueError("an overshoot of 100 % or more is an oscillation, not an overshoot")
        return value


class Noise(Reading):
    """Noise at the output, the input ended by a resistance."""

    reads = MappingProxyType({"level": Read("V rms", "5 %")})
    probed = ("level",)
    of: Literal["noise"]
    level: ReadVolts
    weighting: Literal["none", "A"] = "none"
    bandwidth: fields.Frequency | None = None
    filter: Literal["brick wall", "one pole"] | None = None
    source_resistance: fields.Resistance | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Noise:
        if self.weighting == "A" and self.bandwidth is not None:
            raise ValueError("weighting and bandwidth cannot both be given; leave one of them out")
        if self.filter is not None and self.bandwidth is None:
            raise ValueError("filter says how the bandwidth ends; give bandwidth too")
        return self


class Offset(Reading):
    """Direct voltage at the output, the input ended by a resistance."""

    reads = MappingProxyType({"output": Read("V", "0.2 mV")})
    probed = ("output",)
    of: Literal["offset"]
    output: fields.DirectVolts
    at: Literal["output", "amplifier"] = "output"
    source_resistance: fields.Resistance | None = None


class Rail(Reading):
    """Supply voltages under load."""

    reads = MappingProxyType({"positive": Read("V", METER), "negative": Read("V", METER)})
    probed = ("positive", "negative")
    of: Literal["rail"]
    positive: fields.PositiveRail | None = None
    negative: fields.NegativeRail | None = None

    @model_validator(mode="after")
    def _something(self) -> Rail:
        if self.positive is None and self.negative is None:
            raise ValueError("positive is missing, or negative, or both")
        return self


class SupplyCurrent(Reading):
    """Currents drawn from the rails, nothing playing."""

    reads = MappingProxyType({"positive": Read("A", "2 %"), "negative": Read("A", "2 %")})
    of: Literal["supply-current"]
    positive: AnyCurrent | None = None
    negative: AnyCurrent | None = None

    @model_validator(mode="after")
    def _something(self) -> SupplyCurrent:
        if self.positive is None and self.negative is None:
            raise ValueError("positive is missing, or negative, or both")
        return self


class Balance(Reading):
    """Voltages of both channels, driven alike."""

    reads = MappingProxyType(
        {"left": Read("V rms", SAME_METER), "right": Read("V rms", SAME_METER)}
    )
    probed = ("left", "right")
    of: Literal["balance"]
    left: ReadVolts
    right: ReadVolts
    frequency: fields.Frequency = Quantity(1000.0)


class Crosstalk(Reading):
    """What of a driven channel appears at the other's output."""

    reads = MappingProxyType({"driven": Read("V rms", "5 %"), "undriven": Read("V rms", "5 %")})
    probed = ("driven", "undriven")
    of: Literal["crosstalk"]
    driven: ReadVolts
    undriven: ReadVolts
    frequency: fields.Frequency
    source_resistance: fields.Resistance | None = None
    load: fields.Impedance | None = None


AnyReading = Annotated[
    Gain
    | Response
    | Clip
    | OutputLoading
    | InputLoading
    | RiseTime
    | Slew
    | Tilt
    | Overshoot
    | Noise
    | Offset
    | Rail
    | SupplyCurrent
    | Balance
    | Crosstalk,
    Field(discriminator="of"),
]
