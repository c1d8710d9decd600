"""Files of played signals and of their recordings, one of each or a folder of each."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

from stagefx.bench.errors import MeasuringError
from stagefx.bench.measure.measurement import Measurement, merged
from stagefx.bench.measure.whole import measure
from stagefx.io.files import open_audio

KINDS = (".wav", ".flac", ".aif", ".aiff", ".w64", ".rf64")
"""Endings of recordings; a lossy one is not looked for."""


def measure_files(
    played: str | Path,
    captured: str | Path,
    *,
    channel: int = 0,
    played_full_scale_v: float | None = None,
    captured_full_scale_v: float | None = None,
    loopback: str | Path | None = None,
    repeat: str | Path | None = None,
) -> Measurement:
    """What recordings of test signals say of the stage between.

    Parameters
    ----------
    played : str or Path
        A test signal's file, or the folder of all of them.
    captured : str or Path
        Its recording, or a folder of recordings with the signals' names.
    channel : int, 0 or 1
        Which channel's figures are told.
    played_full_scale_v, captured_full_scale_v : float, V rms
        Full-scale sines in volts, where they are known.
    loopback, repeat : str or Path
        Recordings without the stage, and of the stage once more; files or folders like the
        recordings.

    Returns
    -------
    Measurement
        Of all signals that were recorded; a remark names those that were not.

    Raises
    ------
    MeasuringError
        A file stands beside a folder, nothing in the folders fits, or a recording cannot be
        measured.
    AudioError
        A file cannot be read.

    Examples
    --------
    >>> import tempfile
    >>> from stagefx.bench.signals.writing import write_signals
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     places = write_signals(folder, 44100)
    ...     found = measure_files(places[0], places[0])
    >>> round(found.levels[0].captured_dbfs, 3)
    -12.0
    """
    others = {"loopback": loopback, "repeat": repeat}
    given: Mapping[str, Path] = MappingProxyType(
        {name: Path(place) for name, place in others.items() if place is not None}
    )
    signals, takes = Path(played), Path(captured)
    for name, place in {"CAPTURED": takes, **given}.items():
        if place.is_dir() != signals.is_dir():
            kind, other = ("folder", "file") if signals.is_dir() else ("file", "folder")
            raise MeasuringError(
                f"PLAYED is a {kind} and {name.upper()} a {other}; give two files or two folders"
            )
    volts = {
        "played_full_scale_v": played_full_scale_v,
        "captured_full_scale_v": captured_full_scale_v,
    }
    if not signals.is_dir():
        return _one(signals, takes, given, channel, volts)
    parts, missing = [], []
    for signal in sorted(signals.glob("*.wav")):
        take = _named(takes, signal.stem)
        if take is None:
            missing.append(signal.stem)
            continue
        beside = {name: _named(place, signal.stem) for name, place in given.items()}
        there = {name: place for name, place in beside.items() if place is not None}
        parts.append(_one(signal, take, there, channel, volts))
    if not parts:
        raise MeasuringError(
            f"{takes} holds no recording named like a signal in {signals}; call the recording of "
            "01-level-1khz.wav 01-level-1khz.wav too, and so on"
        )
    for name, place in given.items():
        if not any(name in part.floor for part in parts):
            raise MeasuringError(
                f"{name.upper()}: {place} holds no recording named like one in {takes}; call them "
                "alike"
            )
    whole = merged(parts)
    return replace(whole, remarks=(*whole.remarks, *_missing(missing)))


def _missing(names: list[str]) -> tuple[str, ...]:
    return (f"not recorded, so not measured: {', '.join(names)}",) if names else ()


def _named(folder: Path, stem: str) -> Path | None:
    places = (folder / f"{stem}{kind}" for kind in KINDS)
    return next((place for place in places if place.is_file()), None)


def _one(
    signal: Path,
    take: Path,
    beside: Mapping[str, Path],
    channel: int,
    volts: Mapping[str, float | None],
) -> Measurement:
    with ExitStack() as stack:
        played = stack.enter_context(open_audio(signal))
        captured = stack.enter_context(open_audio(take))
        others = {name: stack.enter_context(open_audio(one)) for name, one in beside.items()}
        return measure(
            played,
            captured,
            channel=channel,
            played_full_scale_v=volts["played_full_scale_v"],
            captured_full_scale_v=volts["captured_full_scale_v"],
            loopback=others.get("loopback"),
            repeat=others.get("repeat"),
        )
