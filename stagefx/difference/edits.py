"""What was done to a second version as a whole: cut, repeated, exchanged, turned over, sped up."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.align.alignment import Alignment
from stagefx.align.resample import at_rate_of
from stagefx.align.time_path import Jump, TimePath
from stagefx.difference.nulls import decibels
from stagefx.io.recording import Recording

Array = NDArray[np.float64]

SILENT_DBFS = -70.0
"""What stays below is silence that was cut or added (working assumption)."""
_LEAST_END_S = 1e-3
"""Less at either end is the reach of an interpolation, or nothing at all."""
_LOUDEST_S = 0.1
_CHUNK_FRAMES = 1 << 16
_UNSURE_FRAMES = 64
_ALIKE_POWER = 0.1
"""A copy of its neighbourhood leaves less than that when the neighbourhood is taken off."""
_LEAST_SPEED_PERCENT = 0.01
"""Clocks of two good recorders differ by less (common practice)."""
_LEAST_WOW_PERCENT = 0.01
_DEAD_DB = -60.0
"""Of the other channels' gain: crosstalk and hiss may be left of a dead channel."""
_SURE_TIMES = 6.0
LEAST_DIRECT = 3e-4
"""Ten steps of 16 bits: converters leave as much."""
_STEP_S = 0.1
_LEAST_STEP = 1e-4
"""Of the loudest tenth of a second's power: quieter ones tell nothing of the balance."""


@dataclass(frozen=True)
class Edit:
    """Something that was done to the second version as a whole, or at one place."""

    kind: str
    at_s: float
    length_s: float
    level_db: float | None = None
    silent: bool = False
    channel: int | None = None
    amount: float | None = None

    def as_json(self) -> dict[str, Any]:
        """The edit as plain values."""
        return {
            "kind": self.kind,
            "at_s": self.at_s,
            "length_s": self.length_s,
            "level_db": self.level_db,
            "silent": self.silent,
            "channel": self.channel,
            "amount": self.amount,
        }


def find_edits(
    first: Recording,
    second: Recording,
    alignment: Alignment,
    *,
    start: int = 0,
    stop: int | None = None,
    powers: Array | None = None,
    direct: Array | None = None,
) -> tuple[Edit, ...]:
    """Name what was done to a second version as a whole, by how it lies beside a first."""
    second = at_rate_of(first, second)
    rate_hz, frames = first.format.rate_hz, first.format.frames
    stop = frames if stop is None else min(stop, frames)
    found: list[Edit] = []
    if start == 0:
        found += _at_beginning(first, second, alignment)
    if stop == frames:
        found += _at_end(first, second, alignment)
    inside = (jump for jump in alignment.jumps if start <= jump.frame < stop)
    found += [_inside(first, second, alignment, jump) for jump in inside]
    common = alignment.common_stretch(frames, second.format.frames)
    begin, end = max(common[0], start), min(common[1], stop)
    whole = begin / rate_hz, max(end - begin, 0) / rate_hz
    found += _of_channels(first, alignment, powers, (begin, end), whole)
    found += _of_speed(alignment, whole)
    if direct is not None:
        found += _direct(direct, whole)
    return tuple(sorted(found, key=lambda each: each.at_s))


def _at_beginning(first: Recording, second: Recording, alignment: Alignment) -> list[Edit]:
    least = _LEAST_END_S * first.format.rate_hz
    early = -_delay_at(alignment, 0.0)
    if early > 0.0:
        early = _found_at(alignment, 0.0, first.format.frames)
        return [_edit("missing at the beginning", first, first, 0, early, 0.0)] * (early >= least)
    return [_edit("added at the beginning", first, second, 0, -early, 0.0)] * (-early >= least)


def _at_end(first: Recording, second: Recording, alignment: Alignment) -> list[Edit]:
    frames, there = first.format.frames, second.format.frames
    least = _LEAST_END_S * first.format.rate_hz
    over = there - (frames + _delay_at(alignment, float(frames)))
    if over >= 0.0:
        at = there - over
        return [_edit("added at the end", first, second, at, over, float(frames))] * (over >= least)
    last = _found_at(alignment, float(there), frames)
    return [_edit("missing at the end", first, first, last, frames - last, last)] * (
        frames - last >= least
    )


def _delay_at(alignment: Alignment, frame: float) -> float:
    if alignment.path is None:
        return alignment.delay_frames
    return float(alignment.path.delay_at(np.array([frame]))[0])


def _found_at(alignment: Alignment, position: float, frames: int) -> float:
    """Where on the first's scale a position of the second lies."""
    path = alignment.path or TimePath(alignment.delay_frames, 0.0)
    found: float = path.first_beyond(position, frames)
    return found


def _edit(
    kind: str, first: Recording, held_by: Recording, begin: float, many: float, at: float
) -> Edit:
    """Of a stretch that one version has and the other lacks."""
    rate_hz = first.format.rate_hz
    level = _loudest_db(held_by, round(begin), round(begin + many))
    silent = level is None or level < SILENT_DBFS
    return Edit(kind, at / rate_hz, many / rate_hz, level, silent)


def _loudest_db(recording: Recording, start: int, stop: int) -> float | None:
    """Level of the loudest channel's loudest tenth of a second; None of digital silence."""
    step = min(max(round(_LOUDEST_S * recording.format.rate_hz), 1), max(stop - start, 1))
    loudest = 0.0
    for begin in range(max(start, 0), stop, step * max(_CHUNK_FRAMES // step, 1)):
        end = min(begin + step * max(_CHUNK_FRAMES // step, 1), stop, recording.format.frames)
        if end <= begin:
            break
        powers = np.square(recording.read(begin, end))
        sums = np.add.reduceat(powers, np.arange(0, len(powers), step), axis=0)
        loudest = max(loudest, float(sums.max()) / step)
    return decibels(loudest, 0.5) if loudest > 0.0 else None


def _inside(first: Recording, second: Recording, alignment: Alignment, jump: Jump) -> Edit:
    many = abs(jump.frames)
    if jump.frames < 0.0:
        lost = many / (1.0 + (alignment.path.slope if alignment.path else 0.0))
        return _edit("cut", first, first, jump.frame - lost, lost, jump.frame - lost)
    begin = round(jump.frame + _delay_at(alignment, float(jump.frame)) - jump.frames)
    kind = "repeated" if _is_copy(second, begin, round(many)) else "inserted"
    return _edit(kind, first, second, begin, many, float(jump.frame))


def _is_copy(second: Recording, begin: int, many: int) -> bool:
    """Whether a stretch, or one close by, is what is played just before it, or just after."""
    many = min(many, _CHUNK_FRAMES)
    about = min(many, _UNSURE_FRAMES)
    low = max(begin - about, many)
    high = min(begin + 2 * many + about, second.format.frames)
    if many < 1 or high - low < many:
        return False
    here, before = second.read(low, high), second.read(low - many, high - many)
    powers = np.stack([np.square(here - before).sum(axis=1), np.square(here).sum(axis=1)])
    total = np.concatenate([np.zeros((2, 1)), np.cumsum(powers, axis=1)], axis=1)
    left, power = total[:, many:] - total[:, :-many]
    return bool(np.any(left <= _ALIKE_POWER * power))


def _of_channels(
    first: Recording,
    alignment: Alignment,
    powers: Array | None,
    stretch: tuple[int, int],
    whole: tuple[float, float],
) -> list[Edit]:
    found = []
    if alignment.swapped:
        apart = _apart_db(first, *stretch)
        found.append(Edit("exchanged channels", *whole, amount=apart))
    dead = [] if powers is None else _dead(powers)
    found += [Edit("dead channel", *whole, channel=channel) for channel in dead]
    signs = alignment.channel_polarity or (alignment.polarity,)
    sounding = [channel for channel in range(len(signs)) if channel not in dead]
    turned = [channel for channel in sounding if signs[channel] < 0]
    if sounding and len(turned) == len(sounding):
        found.append(Edit("inverted polarity", *whole))
    else:
        found += [Edit("inverted channel", *whole, channel=channel) for channel in turned]
    return found


def _dead(powers: Array) -> list[int]:
    """Channels that one version has and the other has not."""
    if powers.shape[1] < 2 or not powers.max(axis=1).all():
        return []
    share = powers / powers.max(axis=1, keepdims=True)
    least = 10.0 ** (_DEAD_DB / 10.0)
    dead = (share.min(axis=0) < least * share.max(axis=0)) & (share.max(axis=0) > 0.0)
    return np.flatnonzero(dead).tolist()


def _apart_db(first: Recording, start: int, stop: int) -> float | None:
    """How far the channels' levels lie apart: median over bands and tenths of a second, by power.

    Octaves from 88 Hz to 11 kHz; steps in which next to nothing sounds are left out.
    """
    rate_hz = first.format.rate_hz
    step = round(_STEP_S * rate_hz)
    hz = np.fft.rfftfreq(step, 1.0 / rate_hz)
    edges = np.searchsorted(hz, 88.0 * 2.0 ** np.arange(8))
    window = np.hanning(step)[:, None]
    bands = []
    for begin in range(start, stop - step + 1, step):
        lines = np.fft.rfft(first.read(begin, begin + step) * window, axis=0)
        bands.append(np.add.reduceat(np.square(np.abs(lines)), edges, axis=0)[:-1])
    powers = np.concatenate(bands) if bands else np.zeros((0, 2))
    weight = powers.sum(axis=1)
    kept = weight > _LEAST_STEP * weight.max(initial=0.0)
    if not kept.any():
        return None
    left, right = np.maximum(powers[kept], 1e-12 * weight[kept, None]).T
    apart, weight = np.abs(10.0 * np.log10(left / right)), weight[kept]
    order = np.argsort(apart, kind="stable")
    middle = int(np.searchsorted(np.cumsum(weight[order]), 0.5 * weight.sum()))
    return float(apart[order][min(middle, len(order) - 1)])


def _of_speed(alignment: Alignment, whole: tuple[float, float]) -> list[Edit]:
    found = []
    if alignment.drift_ppm:
        percent = 1e-4 * alignment.drift_ppm
        # The second's clock against the first's: a delay that falls by d ppm is 1 / (1 - d).
        percent = percent / (1.0 - 0.01 * percent)
        unsure = 1e-4 * (alignment.drift_uncertainty_ppm or 0.0)
        if abs(percent) >= max(_LEAST_SPEED_PERCENT, _SURE_TIMES * unsure):
            found.append(Edit("speed", *whole, amount=percent))
    wow = alignment.wow_percent
    if wow is not None and wow >= _LEAST_WOW_PERCENT:
        found.append(Edit("wow", *whole, amount=wow))
    return found


def _direct(direct: Array, whole: tuple[float, float]) -> list[Edit]:
    """A steady voltage: the median of many parts, where it stands out of their scatter."""
    if len(direct) < 2:
        return []
    middle = np.median(direct, axis=0)
    scatter = 1.4826 * np.median(np.abs(direct - middle), axis=0) / math.sqrt(len(direct))
    sure = np.abs(middle) > np.maximum(_SURE_TIMES * scatter, LEAST_DIRECT)
    if not sure.any():
        return []
    if sure.all() and float(np.ptp(middle)) <= 0.1 * float(np.abs(middle).max()):
        return [Edit("direct voltage", *whole, amount=float(middle.mean()))]
    return [
        Edit("direct voltage", *whole, channel=channel, amount=float(middle[channel]))
        for channel in np.flatnonzero(sure).tolist()
    ]
