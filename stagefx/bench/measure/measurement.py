"""A measurement: what instruments say of a stage, in one record that can be kept as a file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields, is_dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from stagefx.bench.errors import MeasuringError
from stagefx.bench.measure.rows import (
    Balance,
    Clip,
    Crosstalk,
    Harmonics,
    HumLine,
    Level,
    Noise,
    NoiseBand,
    Product,
    ResponsePoint,
    Slew,
    Square,
)
from stagefx.io.texts import from_json

NOT_MEASURED: Mapping[str, Any] = MappingProxyType({"value": None, "reason": "not measured"})


@dataclass(frozen=True)
class Synchronisation:
    """How one recording lay against its test signal.

    Parameters
    ----------
    signal : str
        Which test signal.
    delay_frames : float, frames
        When, in the recording, the signal begins.
    drift_ppm : float, parts per million
        By how much the recorder's clock runs fast.
    polarity : int, 1 or -1
        -1 where it was recorded upside down.
    """

    signal: str
    delay_frames: float
    drift_ppm: float
    polarity: int


@dataclass(frozen=True)
class Measurement:
    """What a recording of one test signal, or of several, says of a stage.

    Parameters
    ----------
    made_by : str
        ``"bench measure"`` or ``"bench expect"``.
    rate_hz : int, Hz
        Sampling rate of the signals.
    channel : str
        ``"left"`` or ``"right"``: whose figures these are.
    signals : tuple of str
        What was played.
    synchronisation : tuple of Synchronisation
        How each recording lay against its signal.
    remarks : tuple of str
        What to know before the numbers are used, the gravest first.
    levels, response, harmonics : tuple
        Tone by tone and frequency by frequency.
    intermodulation : mapping of str to Product
        By name.
    noise : Noise or None
        None where silence was not recorded.
    dynamic_range_db : float or None, dB
        AES17: full scale over what is left beside 997 Hz at -60 dBFS, CCIR-RMS.
    clip : Clip or None
        None where the ramp was not recorded.
    slew : Slew or None
        None where no quick signal was recorded.
    squares : tuple of Square
        What became of square waves.
    balance_db : float or None, dB
        Right re left at 1 kHz; None where one channel was recorded.
    balance : tuple of Balance
        Octave by octave.
    crosstalk : tuple of Crosstalk
        Octave by octave.
    floor : mapping of str to Measurement
        ``"loopback"``: the instrument alone, measured alike; ``"repeat"``: the stage once more.
    """

    made_by: str
    rate_hz: int
    channel: str = "left"
    signals: tuple[str, ...] = ()
    synchronisation: tuple[Synchronisation, ...] = ()
    remarks: tuple[str, ...] = ()
    levels: tuple[Level, ...] = ()
    response: tuple[ResponsePoint, ...] = ()
    harmonics: tuple[Harmonics, ...] = ()
    intermodulation: Mapping[str, Product] = field(default_factory=dict)
    noise: Noise | None = None
    dynamic_range_db: float | None = None
    clip: Clip | None = None
    slew: Slew | None = None
    squares: tuple[Square, ...] = ()
    balance_db: float | None = None
    balance: tuple[Balance, ...] = ()
    crosstalk: tuple[Crosstalk, ...] = ()
    floor: Mapping[str, Measurement] = field(default_factory=dict)

    def _repr_html_(self) -> str:
        """The measurement, as a notebook shows it."""
        from stagefx.bench.measure.notebook import measurement_as_html

        return measurement_as_html(self)

    def as_json(self) -> dict[str, Any]:
        """The measurement as plain values.

        Returns
        -------
        dict
            Key by key as in the dataclasses; what was not measured is a null with its reason.
        """
        plain: dict[str, Any] = {}
        for one in fields(self):
            value = getattr(self, one.name)
            if one.name == "floor":
                plain["floor"] = {name: found.as_json() for name, found in value.items()}
            elif value is None:
                plain[one.name] = dict(NOT_MEASURED)
            elif one.name == "intermodulation":
                plain[one.name] = {name: asdict(product) for name, product in value.items()}
            elif one.name == "slew":
                plain[one.name] = {**asdict(value), "meaning": value.sentence}
            elif isinstance(value, tuple):
                plain[one.name] = [asdict(row) if is_dataclass(row) else row for row in value]  # type: ignore[arg-type]
            else:
                plain[one.name] = asdict(value) if is_dataclass(value) else value  # type: ignore[arg-type]
        return plain


_ROWS: Mapping[str, type] = MappingProxyType(
    {
        "synchronisation": Synchronisation,
        "levels": Level,
        "response": ResponsePoint,
        "harmonics": Harmonics,
        "squares": Square,
        "balance": Balance,
        "crosstalk": Crosstalk,
    }
)
_WITHIN: Mapping[str, type] = MappingProxyType({"hum": HumLine, "bands": NoiseBand})
_ONES: Mapping[str, type] = MappingProxyType({"noise": Noise, "clip": Clip, "slew": Slew})


def merged(parts: Sequence[Measurement]) -> Measurement:
    """Several recordings of one round as one measurement.

    Parameters
    ----------
    parts : sequence of Measurement
        At least one; of one rate and one channel.

    Returns
    -------
    Measurement
        All rows in order; where two parts give one figure the first one's, and of slew rates the
        first that is visible, else the largest.

    Raises
    ------
    MeasuringError
        There are none, or their rates or channels differ.

    Examples
    --------
    >>> one = Measurement("bench measure", 48000, signals=("11-silence",), dynamic_range_db=90.0)
    >>> two = Measurement("bench measure", 48000, signals=("02-sweep",))
    >>> merged([two, one]).signals, merged([two, one]).dynamic_range_db
    (('02-sweep', '11-silence'), 90.0)
    """
    if not parts:
        raise MeasuringError("there is nothing to put together; measure at least one signal")
    if len({(one.rate_hz, one.channel) for one in parts}) > 1:
        raise MeasuringError(
            "measurements of different sampling rates or channels are no one round; keep them apart"
        )
    whole: dict[str, Any] = {}
    for one in fields(Measurement):
        values = [getattr(part, one.name) for part in parts]
        if isinstance(values[0], tuple):
            rows = [row for value in values for row in value]
            whole[one.name] = tuple(dict.fromkeys(rows))
        elif one.name == "intermodulation":
            whole[one.name] = {name: p for value in reversed(values) for name, p in value.items()}
        elif one.name == "slew":
            whole[one.name] = _quickest([value for value in values if value is not None])
        elif one.name == "floor":
            names = dict.fromkeys(name for value in values for name in value)
            whole[one.name] = {
                name: merged([value[name] for value in values if name in value]) for name in names
            }
        else:
            whole[one.name] = next((value for value in values if value is not None), None)
    return Measurement(**whole)


def _quickest(found: list[Slew]) -> Slew | None:
    visible = [one for one in found if one.visible]
    if visible:
        return visible[0]
    return max(found, key=lambda one: min(one.rise_per_s, one.fall_per_s), default=None)


def load_measurement(place: str | Path) -> Measurement:
    """A measurement that was kept as a file.

    Parameters
    ----------
    place : str or Path
        A JSON file of ``bench measure`` or ``bench expect``.

    Returns
    -------
    Measurement
        As it was.

    Raises
    ------
    MeasuringError
        The file cannot be read, or is no measurement.

    Examples
    --------
    >>> import json, tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     place = Path(folder, "m.json")
    ...     _ = place.write_text(json.dumps(Measurement("bench expect", 48000).as_json()))
    ...     load_measurement(place).made_by
    'bench expect'
    """
    try:
        plain = from_json(Path(place).read_text(encoding="utf-8"))
    except OSError as error:
        raise MeasuringError(f"{place} cannot be read ({error.strerror}); give a file") from None
    except ValueError:
        plain = None
    try:
        return measurement_from_json(plain)
    except MeasuringError as error:
        raise MeasuringError(f"{place} {error}") from None


def measurement_from_json(plain: Any) -> Measurement:
    """A measurement from plain values.

    Parameters
    ----------
    plain : dict
        As `Measurement.as_json` gives them.

    Returns
    -------
    Measurement
        As it was.

    Raises
    ------
    MeasuringError
        They are no measurement.

    Examples
    --------
    >>> measurement_from_json(
    ...     Measurement("bench expect", 48000, balance_db=0.1).as_json()
    ... ).balance_db
    0.1
    """
    try:
        return _read(plain)
    except (AttributeError, KeyError, TypeError, ValueError):
        raise MeasuringError(
            "is no measurement; give a JSON file that 'stagefx bench measure --save' or "
            "'stagefx bench expect --save' wrote"
        ) from None


def _read(plain: Mapping[str, Any]) -> Measurement:
    if not isinstance(plain["made_by"], str):
        raise TypeError
    given: dict[str, Any] = {}
    for one in fields(Measurement):
        if one.name not in plain:
            continue
        value = _number(plain[one.name])
        if value is None:
            continue
        if one.name in _ROWS:
            value = tuple(_row(_ROWS[one.name], row) for row in value)
        elif one.name in _ONES:
            value = _row(_ONES[one.name], value)
        elif one.name == "intermodulation":
            value = {name: _row(Product, row) for name, row in value.items()}
        elif one.name == "floor":
            value = {name: _read(row) for name, row in value.items()}
        given[one.name] = tuple(value) if isinstance(value, list) else value
    return Measurement(**given)


def _row(kind: type, plain: Mapping[str, Any]) -> Any:
    given: dict[str, Any] = {}
    for one in fields(kind):
        if one.name not in plain:
            continue
        value = _number(plain[one.name])
        if one.name in _WITHIN:
            value = tuple(_row(_WITHIN[one.name], row) for row in value)
        given[one.name] = tuple(map(_number, value)) if isinstance(value, list) else value
    return kind(**given)


def _number(value: Any) -> Any:
    """A value; none or minus infinity where a null with its reason stands for it."""
    if isinstance(value, Mapping) and set(value) == {"value", "reason"}:
        return {"minus infinity": -float("inf"), "infinite": float("inf")}.get(value["reason"])
    return value


def with_floor(
    found: Measurement, *, loopback: Measurement | None, repeat: Measurement | None
) -> Measurement:
    """A measurement beside what its instrument gives without the stage, and once more.

    Parameters
    ----------
    found : Measurement
        Of the stage.
    loopback, repeat : Measurement or None
        Of the instrument alone, and of the stage again.

    Returns
    -------
    Measurement
        The same, with its floor; remarks of the others follow its own.

    Examples
    --------
    >>> one = Measurement("bench measure", 48000, dynamic_range_db=90.0)
    >>> with_floor(one, loopback=one, repeat=None).floor["loopback"].dynamic_range_db
    90.0
    """
    given = {"loopback": loopback, "repeat": repeat}
    floor = {name: one for name, one in given.items() if one is not None}
    remarks = [*found.remarks]
    for name, one in floor.items():
        remarks += [f"{name}: {remark}" for remark in one.remarks]
    return replace(found, floor=floor, remarks=tuple(remarks))
