"""What a stage is: the parts from the source's EMF to the load, as a stage file states them.

A stage is an immutable value.  A part that is left out is absent (no cable, no control,
direct-coupled), never "typical"; a device figure that is left out is ideal.
"""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

from stagefx.circuit.description import fields
from stagefx.circuit.description.taper import Taper, read_taper
from stagefx.errors import UnitError
from stagefx.units import Quantity, decibels, parse


class Table(BaseModel):
    """A table of a stage file: known keys only, and never changed after it was read."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", arbitrary_types_allowed=True, allow_inf_nan=False
    )


class Source(Table):
    """What feeds the stage."""

    level: fields.SourceLevel | None = None
    resistance: fields.Resistance = Quantity(0.0)
    coupling: fields.Capacitance | None = None
    offset: fields.DirectVolts | None = None


class Cable(Table):
    """A cable's capacitance, by length or in all."""

    length: fields.Length | None = None
    capacitance_per_metre: fields.CapacitancePerMetre | None = None
    capacitance: fields.StrayCapacitance | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Cable:
        by_length = self.length is not None and self.capacitance_per_metre is not None
        partly = (self.length is None) != (self.capacitance_per_metre is None)
        if partly or by_length == (self.capacitance is not None):
            raise ValueError(
                "a cable needs either length and capacitance_per_metre, or capacitance"
            )
        return self

    @property
    def total(self) -> Quantity:
        """Capacitance across the line, F."""
        if self.capacitance is not None:
            return self.capacitance
        assert self.length is not None
        assert self.capacitance_per_metre is not None
        tolerance = self.capacitance_per_metre.tolerance
        return Quantity(self.length.value * self.capacitance_per_metre.value, tolerance)


class Volume(Table):
    """The volume control: two resistors by taper and position."""

    resistance: fields.Resistance
    taper: Any = Field(default="linear", json_schema_extra={"type": ["string", "array"]})
    position: float | None = Field(default=None, ge=0.0, le=1.0, strict=True)
    setting: str | None = None
    mismatch: fields.Decibels | None = None
    place: Literal["before", "after"] = "before"

    @field_validator("resistance")
    @classmethod
    def _real(cls, value: Quantity) -> Quantity:
        if value.value <= 0.0:
            raise UnitError("a control of 0 ohm would short its source; it must be more than 0 ohm")
        return value

    @field_validator("taper")
    @classmethod
    def _readable(cls, value: Any) -> Any:
        read_taper(value)
        return tuple(value) if isinstance(value, list) else value

    @field_validator("setting")
    @classmethod
    def _setting(cls, value: str | None) -> str | None:
        if value is not None and value != "listening" and parse(value, "dB").value > 0.0:
            raise UnitError(f'"{value}" is more than the control can pass; it must be at most 0 dB')
        return value

    @model_validator(mode="after")
    def _one_way(self) -> Volume:
        if self.position is not None and self.setting is not None:
            raise ValueError("position and setting cannot both be given; leave one of them out")
        return self

    @property
    def law(self) -> Taper:
        """The control's unloaded ratio against its position."""
        return read_taper(self.taper)


class Input(Table):
    """What stands before the amplifier's input."""

    series_resistance: fields.Resistance | None = None
    shunt_capacitance: fields.StrayCapacitance | None = None
    resistance: fields.Resistance | None = None
    capacitance: fields.StrayCapacitance | None = None
    coupling: fields.Capacitance | None = None


class DeviceFigures(Table):
    """What is known of an amplifying device; what is left out is ideal."""

    gain_bandwidth: fields.Frequency | None = None
    open_loop_gain: fields.Gain | None = None
    second_pole: fields.Frequency | None = None
    open_loop_output_resistance: fields.Resistance | None = None
    slew_rise: fields.SlewRate | None = None
    slew_fall: fields.SlewRate | None = None
    voltage_noise: fields.VoltageNoise | None = None
    voltage_noise_corner: fields.Frequency | None = None
    current_noise: fields.CurrentNoise | None = None
    current_noise_corner: fields.Frequency | None = None
    bias_current: fields.SignedCurrent | None = None
    offset_voltage: fields.DirectVolts | None = None
    swing_loss_high: fields.AtLeastZeroVolts | None = None
    swing_loss_low: fields.AtLeastZeroVolts | None = None
    output_current: fields.Current | None = None
    supply_rejection: fields.Rejection | None = None
    quiescent_current: fields.Current | None = None
    supply_maximum: fields.PositiveVolts | None = None
    harmonics: tuple[fields.Decibels, ...] | None = None
    harmonics_level: fields.RmsVolts | None = None


class Amplifier(DeviceFigures):
    """The device and the parts around it."""

    device: str | None = None
    topology: Literal["non-inverting", "inverting", "follower"] = "non-inverting"
    feedback_resistance: fields.Resistance | None = None
    gain_resistance: fields.Resistance | None = None
    gain: fields.Gain | None = None
    feedback_capacitance: fields.Capacitance | None = None
    gain_leg_capacitance: fields.Capacitance | None = None

    @model_validator(mode="after")
    def _possible(self) -> Amplifier:
        if self.harmonics is not None and self.harmonics_level is None:
            raise ValueError("harmonics need harmonics_level, the output they were measured at")
        if self.topology == "follower":
            self._check_follower()
        elif self.gain is not None:
            self._check_gain(self.gain)
        else:
            self._check_feedback_pair()
        return self

    def _check_follower(self) -> None:
        if self.gain_resistance is not None or self.gain_leg_capacitance is not None:
            raise ValueError(
                "a follower has no gain leg; leave out gain_resistance and gain_leg_capacitance"
            )
        if self.gain is not None and self.gain != 1.0:
            raise ValueError(f"a follower's gain is 1, not {self.gain:g}; leave gain out")
        if self.feedback_capacitance is not None and self.feedback_resistance is None:
            raise ValueError(
                "feedback_capacitance stands across feedback_resistance; give that too"
            )

    def _check_gain(self, gain: float) -> None:
        if self.feedback_resistance is not None or self.gain_resistance is not None:
            raise ValueError("gain and feedback parts cannot both be given; leave one of them out")
        if self.feedback_capacitance is not None or self.gain_leg_capacitance is not None:
            raise ValueError(
                "feedback_capacitance and gain_leg_capacitance act on the feedback resistors; "
                "give feedback_resistance and gain_resistance instead of gain"
            )
        if self.topology == "non-inverting" and gain < 1.0:
            raise ValueError(
                f"a non-inverting gain of {gain:.4g} ({decibels(gain):.1f} dB) cannot be; it is at "
                'least 1. Use topology = "inverting", or a control after the amplifier'
            )

    def _check_feedback_pair(self) -> None:
        pair = {
            "feedback_resistance": self.feedback_resistance,
            "gain_resistance": self.gain_resistance,
        }
        missing = [key for key, value in pair.items() if value is None]
        if len(missing) == 1:
            raise ValueError(f"{missing[0]} is missing; or give gain instead of the two")
        if missing:
            raise ValueError(
                f"{_a(self.topology)} amplifier needs feedback_resistance and gain_resistance, "
                "or gain"
            )
        assert self.feedback_resistance is not None
        assert self.gain_resistance is not None
        if self.gain_resistance.value <= 0.0:
            raise ValueError(
                'gain_resistance must be more than 0 ohm; for a gain of 1 use topology = "follower"'
            )
        if self.topology == "inverting" and self.feedback_resistance.value <= 0.0:
            raise ValueError(
                "with a feedback_resistance of 0 ohm an inverting amplifier's gain is 0; it must "
                "be more than 0 ohm"
            )


def _a(topology: str) -> str:
    return f"an {topology}" if topology.startswith("i") else f"a {topology}"


class Supply(Table):
    """The rails, and what makes them."""

    positive: fields.PositiveRail
    negative: fields.NegativeRail
    decoupling: fields.StrayCapacitance | None = None
    decoupling_distance: fields.Length | None = None
    secondary: fields.RmsVolts | None = None
    transformer_regulation: fields.Share | None = None
    transformer_resistance: fields.Resistance | None = None
    rectifier: Literal["full", "half"] = "full"
    diodes_in_path: int = Field(default=1, ge=0, le=4, strict=True)
    diode_drop: fields.AtLeastZeroVolts | None = None
    mains_frequency: fields.Frequency | None = None
    mains_tolerance: fields.Share | None = None
    reservoir: fields.Capacitance | None = None
    reservoir_rating: fields.PositiveVolts | None = None
    load_current: fields.Current | None = None
    regulator_dropout: fields.AtLeastZeroVolts | None = None
    regulator_rejection: fields.Rejection | None = None
    regulator_noise: fields.RmsVolts | None = None


class Output(Table):
    """What stands between the amplifier and the output socket."""

    resistance: fields.Resistance | None = None
    coupling: fields.Capacitance | None = None


class Load(Table):
    """What the stage drives."""

    resistance: fields.Resistance | None = None
    capacitance: fields.StrayCapacitance | None = None


class Crosstalk(Table):
    """What couples one channel to the other."""

    coupling_capacitance: fields.StrayCapacitance | None = None
    shared_ground_resistance: fields.Resistance | None = None


class Hum(Table):
    """Mains hum at the amplifier's input."""

    level: fields.RmsVolts
    frequency: fields.Frequency


class Oscillation(Table):
    """A parasitic tone at the amplifier's output."""

    level: fields.PeakVolts
    frequency: fields.Frequency


class Listening(Table):
    """The power amplifier, the speakers, the seat and the room."""

    amplifier_gain: fields.Gain
    amplifier_coupling: Literal["dc", "ac"] | None = None
    amplifier_bandwidth: fields.Frequency | None = None
    rated_power: fields.Power | None = None
    speaker_impedance: fields.Impedance | None = None
    speaker_sensitivity: fields.Sensitivity
    distance: fields.Distance
    speakers: int = Field(default=2, ge=1, le=64, strict=True)
    room_noise: fields.SoundLevel | None = None


class Stage(Table):
    """A line-level stage from the source's EMF to the listener, as a stage file describes it."""

    name: str = "unnamed"
    notes: str = ""
    temperature: fields.Temperature = Quantity(298.15)
    source: Source = Source()
    input_cable: Cable | None = None
    volume: Volume | None = None
    input: Input | None = None
    amplifier: Amplifier | None = None
    supply: Supply | None = None
    output: Output | None = None
    output_cable: Cable | None = None
    load: Load | None = None
    crosstalk: Crosstalk | None = None
    hum: Hum | None = None
    oscillation: Oscillation | None = None
    listening: Listening | None = None
