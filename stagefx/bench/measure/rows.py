"""What a measurement is made of: one small record for each kind of result."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Scales:
    """What full scale is in volts.

    Parameters
    ----------
    played_v : float or None, V rms
        A full-scale sine as it is played into the stage; None where it is not known.
    captured_v : float or None, V rms
        A full-scale sine as it is recorded.
    """

    played_v: float | None = None
    captured_v: float | None = None

    def output_v(self, level_dbfs: float | None) -> float | None:
        """A recorded level in volts.

        Parameters
        ----------
        level_dbfs : float or None, dBFS
            Re a full-scale sine.

        Returns
        -------
        float or None, V rms
            None where the volts, or the level, are not known.
        """
        if level_dbfs is None or self.captured_v is None:
            return None
        return float(self.captured_v * 10.0 ** (level_dbfs / 20.0))

    def input_v(self, level_dbfs: float) -> float | None:
        """A played level in volts.

        Parameters
        ----------
        level_dbfs : float, dBFS
            Re a full-scale sine.

        Returns
        -------
        float or None, V rms
            None where the volts are not known.
        """
        return None if self.played_v is None else float(self.played_v * 10.0 ** (level_dbfs / 20.0))

    @property
    def peak_v(self) -> float | None:
        """Volts of a recorded sample at full scale."""
        return None if self.captured_v is None else float(self.captured_v * 2.0**0.5)


@dataclass(frozen=True)
class Level:
    """How strong one tone came out.

    Parameters
    ----------
    signal : str
        Of which test signal.
    hz : float, Hz
        Frequency.
    played_dbfs, captured_dbfs : float, dBFS
        Re a full-scale sine.
    input_v_rms, output_v_rms : float or None, V
        The same in volts.
    gain_db : float or None, dB
        Output over input, where both are known in volts.
    """

    signal: str
    hz: float
    played_dbfs: float
    captured_dbfs: float
    input_v_rms: float | None
    output_v_rms: float | None
    gain_db: float | None


@dataclass(frozen=True)
class ResponsePoint:
    """The response at one frequency.

    Parameters
    ----------
    hz : float, Hz
        Frequency.
    db : float, dB
        Level re 1 kHz.
    deg : float, degrees
        Phase, polarity and the markers' delay taken off.
    floor_db : float or None, dB
        By how much noise may bend the level.
    """

    hz: float
    db: float
    deg: float
    floor_db: float | None = None


@dataclass(frozen=True)
class Harmonics:
    """What one tone brought along.

    Parameters
    ----------
    hz : float, Hz
        The tone.
    by : str
        ``"stepped"``, ``"levels"`` or ``"swept"``: from which signal.
    played_dbfs, captured_dbfs : float, dBFS
        Its level, re a full-scale sine.
    output_v_rms : float or None, V
        The same in volts.
    thd_db : float or None, dB
        All harmonics re the tone; None where none lies below the recording's limit.
    harmonics_db : tuple of float, dB
        Each harmonic re the tone, from the second on.
    floor_db : float or None, dB
        What noise alone would show as for all of them together.
    thd_n_db : float or None, dB
        Harmonics and noise re everything, 20 Hz to 20 kHz (AES17); only of tones.
    """

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
    """One figure of intermodulation.

    Parameters
    ----------
    percent : float, %
        By its standard's definition.
    floor_percent : float, %
        What noise alone would show as.
    """

    percent: float
    floor_percent: float


@dataclass(frozen=True)
class HumLine:
    """One line of the hum spectrum.

    Parameters
    ----------
    hz : float, Hz
        Where it lies.
    order : int
        Which multiple of the mains frequency.
    dbfs : float, dBFS
        Its level re a full-scale sine.
    v_rms : float or None, V
        The same in volts.
    kind : str
        ``"pickup"`` for odd multiples, ``"rectifier"`` for even ones.
    """

    hz: float
    order: int
    dbfs: float
    v_rms: float | None
    kind: str


@dataclass(frozen=True)
class NoiseBand:
    """Noise in a third of an octave.

    Parameters
    ----------
    hz : float, Hz
        Middle of the band.
    dbfs : float, dBFS
        Its level re a full-scale sine.
    """

    hz: float
    dbfs: float


@dataclass(frozen=True)
class Noise:
    """What comes out when nothing is played.

    Parameters
    ----------
    unweighted_dbfs, a_dbfs, ccir_rms_dbfs : float, dBFS
        20 Hz to 20 kHz, plain, A-weighted, and by AES17.
    unweighted_v_rms, a_v_rms, ccir_rms_v_rms : float or None, V
        The same in volts.
    without_hum_dbfs : float, dBFS
        Plain, with the lines of hum taken out.
    mains_hz : float or None, Hz
        The mains frequency, where hum shows.
    hum : tuple of HumLine
        Its lines that stand out of the noise.
    pickup_dbfs, rectifier_dbfs : float or None, dBFS
        Odd lines together, and even ones; None where there are none.
    bands : tuple of NoiseBand
        Third octaves from 20 Hz to 20 kHz, hum included.
    """

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
    """Where the output stops growing.

    Parameters
    ----------
    high, low : float, full scale 1.0
        Peaks as they are recorded, what the coupling capacitor moved put back; low is negative.
    high_v, low_v : float or None, V
        The same in volts.
    reached_high, reached_low : bool
        Whether the output did stop growing there; where not, it is only the highest seen.
    played_dbfs : float or None, dBFS
        The played level at which the first of the two is reached.
    symmetry_db : float, dB
        The high one re the low one.
    """

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
    """How fast the output can move.

    Parameters
    ----------
    rise_per_s, fall_per_s : float, full scale 1.0 / s
        Where slewing is visible, its rates; else the largest slopes captured, both positive.
    rise_v_per_us, fall_v_per_us : float or None, V/µs
        The same in volts.
    visible : bool
        Whether the output was seen to fall behind.
    """

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
    """What became of a square wave.

    Parameters
    ----------
    hz : float, Hz
        Its frequency.
    tilt_percent : float or None, %
        How far a top sags from its start to its end, over half the peak to peak; None where
        the tops are too short to tell.
    tilt_floor_percent : float or None, %
        What noise alone would show as.
    wave : tuple of float, full scale 1.0
        One period, evenly spaced, starting with the rise.
    """

    hz: float
    tilt_percent: float | None
    tilt_floor_percent: float | None
    wave: tuple[float, ...]


@dataclass(frozen=True)
class Crosstalk:
    """How much of one channel comes out of the other.

    Parameters
    ----------
    hz : float, Hz
        Frequency.
    driven : str
        ``"left"`` or ``"right"``.
    db : float, dB
        The silent channel re the driven one.
    floor_db : float, dB
        What noise alone would show as.
    """

    hz: float
    driven: str
    db: float
    floor_db: float


@dataclass(frozen=True)
class Balance:
    """How alike the channels are at one frequency.

    Parameters
    ----------
    hz : float, Hz
        Frequency.
    db : float, dB
        Right re left.
    """

    hz: float
    db: float
