"""What a render tells: levels, headroom, and whether anything nonlinear happened."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from typing import Any

import numpy as np

from stagefx.effects.limits.limit_set import LimitSet
from stagefx.effects.limits.statistics import MOMENTS, Tally
from stagefx.units import decibels


@dataclass(frozen=True)
class Moment:
    """A fifth of a second in which the output was clipped or slewed."""

    time_s: float
    clipped_frames: int
    slewing_frames: int


@dataclass(frozen=True)
class RenderReport:
    """What happened to a piece of music in a stage.

    Parameters
    ----------
    frames, rate, channels : int
        Of the music.
    gain_db : float, dB
        Signed 1 kHz gain from source to load, magnitude.
    knob_position : float or None, 0 to 1
        Where the knob stood.
    output_peak_v : tuple of float, V, or None
        Largest magnitude at the amplifier's output, before any limit, channel by channel.
    headroom_db : tuple of float, dB, or None
        Clip level over that peak; negative clips.
    clipped_frames : tuple of int
        Frames in which the output was clipped.
    clipped_share : tuple of float, 0 to 1
        The same over all frames.
    slewing_frames : tuple of int
        Frames in which the output slewed.
    slewing_share, nonlinear_share : tuple of float, 0 to 1
        The same over all frames; the last counts frames with either.
    slope_peak_v_per_us : tuple of float, V/us, or None
        Steepest slope asked of the amplifier's output.
    slew_available_v_per_us : float, V/us, or None
        Slew that the amplifier has for music, the slower of rise and fall.
    slew_margin : tuple of float or None
        Slew available over that slope, the worse of rise and fall.
    loudness_lufs : float, LUFS
        Loudness of the rendered music.
    true_peak_dbtp : tuple of float, dBTP
        Its true peak.
    seed : int
        Of noise and dither.
    overs : int
        Samples beyond full scale that an integer format had to clip.
    worst_moments : tuple of Moment
        The moments with most clipping and slewing, worst first; at most ten.
    remarks : tuple of str
        What the reader should know.
    """

    frames: int
    rate: int
    channels: int
    gain_db: float
    knob_position: float | None
    output_peak_v: tuple[float, ...] | None
    headroom_db: tuple[float, ...] | None
    clipped_frames: tuple[int, ...]
    clipped_share: tuple[float, ...]
    slewing_frames: tuple[int, ...]
    slewing_share: tuple[float, ...]
    nonlinear_share: tuple[float, ...]
    slope_peak_v_per_us: tuple[float, ...] | None
    slew_available_v_per_us: float | None
    slew_margin: tuple[float, ...] | None
    loudness_lufs: float
    true_peak_dbtp: tuple[float, ...]
    seed: int
    overs: int = 0
    worst_moments: tuple[Moment, ...] = ()
    remarks: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The report as plain values, ready for JSON.

        Returns
        -------
        dict
            One key a field; a list per channel where the channels differ, one number where they
            do not, and a reason where there is none.
        """
        found = {item.name: _plain(getattr(self, item.name)) for item in fields(self)}
        if self.knob_position is None:
            found["knob_position"] = {"value": None, "reason": "there is no volume control"}
        return found


def _plain(value: Any) -> Any:
    if isinstance(value, tuple) and value and isinstance(value[0], Moment):
        return [asdict(moment) for moment in value]
    if isinstance(value, tuple) and value and not isinstance(value[0], str):
        plain = [_plain(item) for item in value]
        return plain[0] if all(item == plain[0] for item in plain) else plain
    if isinstance(value, tuple):
        return list(value)
    if isinstance(value, float) and not math.isfinite(value):
        return {"value": None, "reason": "minus infinity" if value < 0 else "infinite"}
    return {"value": None, "reason": "there is no amplifier"} if value is None else value


@dataclass(frozen=True)
class Strain:
    """How hard the amplifier's output was driven, channel by channel."""

    tallies: Sequence[Sequence[Tally]]
    limits: LimitSet
    unit_v: float
    rate_hz: int
    frames: int

    def _extremes_v(self) -> list[np.ndarray[Any, np.dtype[np.float64]]]:
        """High, low, rise and fall of each channel, in volts and volts a second."""
        found = []
        for tally in self.tallies[0]:
            high, low, rise, fall = tally.extremes * self.unit_v
            if self.unit_v < 0.0:
                high, low, rise, fall = low, high, fall, rise
            found.append(np.array([high, low, rise * self.rate_hz, fall * self.rate_hz]))
        return found

    @property
    def peak_v(self) -> tuple[float, ...]:
        """Largest magnitude."""
        return tuple(float(max(high, -low)) for high, low, _, _ in self._extremes_v())

    @property
    def headroom_db(self) -> tuple[float, ...]:
        """Clip level over peak, the worse side."""
        limits = self.limits.left()
        return tuple(
            -decibels(max(high / limits.high_v, low / limits.low_v, 0.0))
            for high, low, _, _ in self._extremes_v()
        )

    @property
    def slope_v_per_us(self) -> tuple[float, ...]:
        """Steepest slope."""
        return tuple(float(max(rise, -fall)) * 1e-6 for _, _, rise, fall in self._extremes_v())

    @property
    def slew_available_v_per_us(self) -> float:
        """Slew that is left for music, the slower of rise and fall."""
        limits = self.limits.left()
        return 1e-6 * min(limits.slew_rise_v_per_s, limits.slew_fall_v_per_s)

    @property
    def slew_margin(self) -> tuple[float, ...]:
        """Slew available over slope, the worse side."""
        limits = self.limits.left()
        found = []
        for _, _, rise, fall in self._extremes_v():
            used = max(rise / limits.slew_rise_v_per_s, -fall / limits.slew_fall_v_per_s)
            found.append(float(1.0 / used) if used > 0.0 else math.inf)
        return tuple(found)

    def counted(self, name: str) -> tuple[int, ...]:
        """A count of the tallies, channel by channel."""
        columns = zip(*self.tallies, strict=True)
        return tuple(min(sum(getattr(t, name) for t in column), self.frames) for column in columns)

    def shares(self, name: str) -> tuple[float, ...]:
        """The same over all frames."""
        return tuple(count / max(self.frames, 1) for count in self.counted(name))

    def moments(self) -> tuple[Moment, ...]:
        """The moments with most clipping and slewing."""
        worst: dict[int, tuple[int, int]] = {}
        for tally in (tally for row in self.tallies for tally in row):
            for frame, clips, slews in tally.moments():
                known = worst.get(frame, (0, 0))
                worst[frame] = (max(known[0], clips), max(known[1], slews))
        ranked = sorted(worst.items(), key=lambda item: (-sum(item[1]), item[0]))
        return tuple(
            Moment(frame / self.rate_hz, clips, slews) for frame, (clips, slews) in ranked[:MOMENTS]
        )
