"""What a measurement is made of: one small record for each kind of result."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Scales:
    """What full scale is in volts."""

    played_v: float | None = None
    captured_v: float | None = None

    def output_v(self, level_dbfs: float | None) -> float | None:
        """A recorded level in volts."""
        if level_dbfs is None or self.captured_v is None:
            return None
        return float(self.captured_v * 10.0 ** (level_dbfs / 20.0))

    def input_v(self, level_dbfs: float) -> float | None:
        """A played level in volts."""
        return None if self.played_v is None else float(self.played_v * 10.0 ** (level_dbfs / 20.0))

    @property
    def peak_v(self) -> float | None:
        """Volts of a recorded sample at full scale."""
        return None if self.captured_v is None else float(self.captured_v * 2.0**0.5)


@dataclass(frozen=True)
class Level:
    """How strong one tone came out."""

    signal: str
    hz: float
    played_dbfs: float
    captured_dbfs: float
    input_v_rms: float | None
    output_v_rms: float | None
    gain_db: float | None


@dataclass(frozen=True)
class ResponsePoint:
    """The response at one frequency."""

    hz: float
    db: float
    deg: float
    floor_db: float | None = None


@dataclass(frozen=True)
class Harmonics:
    """What one tone brought along."""

    hz: float
    by: str
    played_dbfs: float
    captured_dbfs: float
    output_v_rms: float | None
    thd_db: float | None
    harmonics_db: tuple[float, ...]
    floor_db: float | None
    thd_n_db: float | None = None


@dataclass(frozen=True)
class Product:
    """One figure of intermodulation."""

    percent: float
    floor_percent: float


@dataclass(frozen=True)
class HumLine:
    """One line of the hum spectrum."""

    hz: float
    order: int
    dbfs: float
    v_rms: float | None
    kind: str


@dataclass(frozen=True)
class NoiseBand:
    """Noise in a third of an octave."""

    hz: float
    dbfs: float


@dataclass(frozen=True)
class Noise:
    """What comes out when nothing is played."""

    unweighted_dbfs: float
    a_dbfs: float
    ccir_rms_dbfs: float
    unweighted_v_rms: float | None
    a_v_rms: float | None
    ccir_rms_v_rms: float | None
    without_hum_dbfs: float
    mains_hz: float | None
    hum: tuple[HumLine, ...]
    pickup_dbfs: float | None
    rectifier_dbfs: float | None
    bands: tuple[NoiseBand, ...] = ()


@dataclass(frozen=True)
class Clip:
    """Where the output stops growing."""

    high: float
    low: float
    high_v: float | None
    low_v: float | None
    reached_high: bool
    reached_low: bool
    played_dbfs: float | None
    symmetry_db: float


@dataclass(frozen=True)
class Slew:
    """How fast the output can move."""

    rise_per_s: float
    fall_per_s: float
    rise_v_per_us: float | None
    fall_v_per_us: float | None
    visible: bool

    @property
    def sentence(self) -> str:
        """What the figures mean."""
        return "the slew rate" if self.visible else "at least the largest slope captured"


@dataclass(frozen=True)
class Square:
    """What became of a square wave."""

    hz: float
    tilt_percent: float | None
    tilt_floor_percent: float | None
    wave: tuple[float, ...]


@dataclass(frozen=True)
class Crosstalk:
    """How much of one channel comes out of the other."""

    hz: float
    driven: str
    db: float
    floor_db: float


@dataclass(frozen=True)
class Balance:
    """How alike the channels are at one frequency."""

    hz: float
    db: float
