"""One recording of one test signal: what it tells, by what was played."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

from stagefx.bench.errors import MeasuringError
from stagefx.bench.measure.measurement import Measurement, Synchronisation
from stagefx.bench.measure.remarks import remarks_on
from stagefx.bench.measure.rows import Scales
from stagefx.bench.measure.silence import noise_of
from stagefx.bench.measure.squares import square_of
from stagefx.bench.measure.sweeping import response_of, swept_harmonics
from stagefx.bench.measure.synchronised import Synchronised, synchronise
from stagefx.bench.measure.tones.channels import balance_of, crosstalk_of
from stagefx.bench.measure.tones.clipping import clip_of
from stagefx.bench.measure.tones.distortion import dynamic_range_of, harmonics_of, level_of
from stagefx.bench.measure.tones.intermodulation import products_of
from stagefx.bench.measure.tones.slewing import slew_of
from stagefx.bench.signals.signal import TestSignal
from stagefx.io.recording import Recording

CHANNELS = ("left", "right")
SETTLED_S = 0.5
"""Of silence, until what the marker left in coupling capacitors is gone."""

SWAPPED = "left and right are swapped somewhere, so crosstalk was not told; swap one pair of leads"
LINEAR_DB = (-50.0, -10.0)
MOST_CHANGE_DB = 0.5
"""No stage's gain changes by as much between those levels; a recorder's automatic gain does."""
UNSTEADY = (
    "gain changes with level, as automatic gain, noise reduction or a faint recording make it; "
    "switch them off, or turn the input up"
)

Told = Mapping[str, Any]
Tell = Callable[[Synchronised, int, Scales], Told]


def measure_signal(
    signal: TestSignal,
    captured: Recording,
    *,
    channel: int = 0,
    played_full_scale_v: float | None = None,
    captured_full_scale_v: float | None = None,
) -> Measurement:
    """What a recording of one test signal says of the stage between."""
    if channel not in range(min(captured.format.channels, 2)):
        raise MeasuringError(
            f"{captured.place} has no {CHANNELS[min(channel, 1)]} channel; record both, or measure "
            "the left one"
        )
    recording = synchronise(signal, captured)
    scales = Scales(played_full_scale_v, captured_full_scale_v)
    told = dict(_TELL[signal.name.partition("-")[0]](recording, channel, scales))
    remarks = (*remarks_on(recording, captured, channel), *told.pop("remarks", ()))
    return Measurement(
        made_by="bench measure",
        rate_hz=signal.rate_hz,
        channel=CHANNELS[channel],
        signals=(signal.name,),
        synchronisation=(
            Synchronisation(
                signal.name, recording.delay_frames, recording.drift_ppm, recording.polarity
            ),
        ),
        remarks=remarks,
        **told,
    )


def _stereo(recording: Synchronised) -> bool:
    return bool(recording.samples.shape[1] == 2)


def _level(recording: Synchronised, channel: int, scales: Scales) -> Told:
    (tone,) = recording.signal.tones()
    balance = balance_of(recording, tone).db if _stereo(recording) else None
    return {"levels": (level_of(recording, tone, channel, scales),), "balance_db": balance}


def _sweep(recording: Synchronised, channel: int, scales: Scales) -> Told:
    quiet, loud = recording.signal.sweeps()
    return {
        "response": response_of(recording, quiet, channel),
        "harmonics": swept_harmonics(recording, loud, channel, scales),
    }


def _stepped(recording: Synchronised, channel: int, scales: Scales) -> Told:
    tones = recording.signal.tones()
    rows = [harmonics_of(recording, tone, channel, scales, by="stepped") for tone in tones]
    return {"harmonics": tuple(rows)}


def _levels(recording: Synchronised, channel: int, scales: Scales) -> Told:
    tones = recording.signal.tones()
    levels = tuple(level_of(recording, tone, channel, scales) for tone in tones)
    gains = [
        row.captured_dbfs - row.played_dbfs
        for row in levels
        if LINEAR_DB[0] <= row.played_dbfs <= LINEAR_DB[1]
    ]
    changed = max(gains) - min(gains) > MOST_CHANGE_DB
    return {
        "remarks": (f"{recording.place}: {UNSTEADY}",) if changed else (),
        "levels": levels,
        "harmonics": tuple(
            harmonics_of(recording, tone, channel, scales, by="levels") for tone in tones
        ),
        "dynamic_range_db": dynamic_range_of(recording, tones[0], channel),
    }


def _two_tones(recording: Synchronised, channel: int, _: Scales) -> Told:
    return {"intermodulation": products_of(recording, channel)}


def _quick_tones(recording: Synchronised, channel: int, scales: Scales) -> Told:
    quiet, loud = recording.signal.tones()
    return {
        "intermodulation": products_of(recording, channel),
        "slew": slew_of(recording, quiet, loud, channel, scales),
    }


def _squares(recording: Synchronised, channel: int, scales: Scales) -> Told:
    slow, quiet, loud = recording.signal.tones()
    return {
        "squares": tuple(square_of(recording, tones, channel) for tones in (slow, loud)),
        "slew": slew_of(recording, quiet, loud, channel, scales),
    }


def _ramp(recording: Synchronised, channel: int, scales: Scales) -> Told:
    return {"clip": clip_of(recording, recording.signal.ramps()[0], channel, scales)}


def _silence(recording: Synchronised, channel: int, scales: Scales) -> Told:
    (passage,) = recording.signal.silences()
    _, samples = recording.stretch(
        passage.start_s + SETTLED_S, passage.start_s + passage.duration_s, channel
    )
    return {"noise": noise_of(samples, recording.rate_hz, scales)}


def _one_channel(recording: Synchronised, _: int, __: Scales) -> Told:
    if not _stereo(recording):
        return {}
    rows = tuple(crosstalk_of(recording, tone) for tone in recording.signal.tones())
    if any(row.db > 0.0 for row in rows):
        other = CHANNELS[1 - CHANNELS.index(rows[0].driven)]
        remark = f"{recording.place} has {rows[0].driven}'s tones in the {other} channel: {SWAPPED}"
        return {"remarks": (remark,)}
    return {"crosstalk": rows}


def _both_channels(recording: Synchronised, channel: int, scales: Scales) -> Told:
    tones = recording.signal.tones()
    told: dict[str, Any] = {
        "levels": tuple(level_of(recording, tone, channel, scales) for tone in tones)
    }
    if _stereo(recording):
        told["balance"] = tuple(balance_of(recording, tone) for tone in tones)
    return told


_TELL: Mapping[str, Tell] = MappingProxyType(
    {
        "01": _level,
        "02": _sweep,
        "03": _stepped,
        "04": _levels,
        "05": _two_tones,
        "06": _quick_tones,
        "07": _two_tones,
        "08": _quick_tones,
        "09": _squares,
        "10": _ramp,
        "11": _silence,
        "12": _one_channel,
        "13": _one_channel,
        "14": _both_channels,
    }
)
"""By the number of the signal."""
