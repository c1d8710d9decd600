"""A measurement: what instruments say of a stage, in one record that can be kept as a file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields, is_dataclass, replace
from types import MappingProxyType
from typing import Any

from stagefx.bench.errors import MeasuringError
from stagefx.bench.measure.rows import (
    Balance,
    Clip,
    Crosstalk,
    Harmonics,
    Level,
    Noise,
    Product,
    ResponsePoint,
    Slew,
    Square,
)
from stagefx.io.tables import cell, html_table

_MARKS_HZ = (20.0, 1000.0, 10e3, 20e3)
NOT_MEASURED: Mapping[str, Any] = MappingProxyType({"value": None, "reason": "not measured"})


@dataclass(frozen=True)
class Synchronisation:
    """How one recording lay against its test signal."""

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
        return _as_html(self)

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


def merged(parts: Sequence[Measurement]) -> Measurement:
    """Several recordings of one round as one measurement."""
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


def with_floor(
    found: Measurement, *, loopback: Measurement | None, repeat: Measurement | None
) -> Measurement:
    """A measurement beside what its instrument gives without the stage, and once more."""
    given = {"loopback": loopback, "repeat": repeat}
    floor = {name: one for name, one in given.items() if one is not None}
    remarks = [*found.remarks]
    for name, one in floor.items():
        remarks += [f"{name}: {remark}" for remark in one.remarks]
    return replace(found, floor=floor, remarks=tuple(remarks))


def _as_html(found: Measurement) -> str:
    """Level, response, distortion, noise, clipping, speed, channels, as far as measured."""
    rows = [*_levels(found), *_distortion(found)]
    if found.noise is not None:
        rows.append(("noise, A-weighted", cell(found.noise.a_dbfs, "dBFS")))
        if found.noise.a_v_rms is not None:
            rows.append(("the same in volts", cell(found.noise.a_v_rms, "V rms")))
    if found.dynamic_range_db is not None:
        rows.append(("dynamic range", cell(found.dynamic_range_db, "dB")))
    if found.clip is not None and found.clip.high_v is not None:
        rows.append(("clips upward at", cell(found.clip.high_v, "V")))
        rows.append(("clips downward at", cell(found.clip.low_v, "V")))
    if found.slew is not None:
        rows.append(("slew", found.slew.sentence))
    if found.balance_db is not None:
        rows.append(("right re left", cell(found.balance_db, "dB")))
    rows += [
        (f"crosstalk at {cell(one.hz, 'Hz')}, {one.driven} driven", cell(one.db, "dB"))
        for one in found.crosstalk
    ]
    signals = ", ".join(found.signals) or "no signal"
    return html_table(f"{found.made_by}, {found.channel}: {signals}", rows, before=found.remarks)


def _levels(found: Measurement) -> list[tuple[str, str]]:
    rows = [
        (f"gain at {cell(one.hz, 'Hz')}", cell(one.gain_db, "dB"))
        for one in found.levels
        if one.gain_db is not None
    ]
    for mark in _MARKS_HZ if found.response else ():
        near = min(found.response, key=lambda point: abs(point.hz - mark))
        if abs(near.hz - mark) < 0.05 * mark:
            rows.append((f"response at {cell(near.hz, 'Hz')}, re 1 kHz", cell(near.db, "dB")))
    return rows


def _distortion(found: Measurement) -> list[tuple[str, str]]:
    rows = [
        (
            f"harmonics of {cell(one.hz, 'Hz')} at {cell(one.captured_dbfs, 'dBFS')}",
            cell(one.thd_db, "dB"),
        )
        for one in found.harmonics
        if one.thd_db is not None
    ]
    rows += [
        (f"intermodulation, {name}", f"{one.percent:.3g} %")
        for name, one in found.intermodulation.items()
    ]
    return rows
