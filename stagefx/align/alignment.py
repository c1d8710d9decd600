"""Where, how loud and which way up a second version of a piece lies beside a first."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from stagefx.align.delay.periodicity import Repeat
from stagefx.align.fit import Fit, best_fit, fit_together
from stagefx.align.resample import at_rate_of
from stagefx.align.sightings import Pieces
from stagefx.align.time_path import Jump, TimePath
from stagefx.align.warp import WARP_REACH_FRAMES
from stagefx.dsp.fractional_delay import REACH_FRAMES, whole_and_fraction
from stagefx.errors import ComparisonError
from stagefx.io.recording import Recording

SEARCH_S = 30.0
_LEAST_WANDER_PPM = 0.01
_OTHER_SPEED_PPM = 100.0
"""Clocks of recorders lie within this of each other (common practice)."""

DriftPolicy = Literal["where it is there", "never"]


@dataclass(frozen=True)
class Alignment:
    """Where, how loud and which way up a second version lies beside a first."""

    delay_frames: float
    gain_db: float
    polarity: int
    drift_ppm: float | None = None
    drift_uncertainty_ppm: float | None = None
    delay_uncertainty_frames: float | None = None
    path: TimePath | None = None
    swapped: bool = False
    channel_polarity: tuple[int, ...] = ()
    wow_percent: float | None = None
    remarks: tuple[str, ...] = ()

    @property
    def gain(self) -> float:
        """What the first is multiplied by to become the second, polarity included."""
        return float(self.polarity * 10.0 ** (self.gain_db / 20.0))

    @property
    def channel_gains(self) -> NDArray[np.float64]:
        """The same channel by channel: one alone may be turned over."""
        signs = self.channel_polarity or (self.polarity,)
        return abs(self.gain) * np.array(signs, dtype=np.float64)

    @property
    def jumps(self) -> tuple[Jump, ...]:
        """Where samples were dropped or doubled, on the first's scale."""
        return self.path.jumps if self.path else ()

    def common_stretch(self, first_frames: int, second_frames: int) -> tuple[int, int]:
        """The frames of the first that the second has, too."""
        if self.path is not None:
            return self.path.common_stretch(first_frames, second_frames, WARP_REACH_FRAMES)
        whole, fraction = whole_and_fraction(self.delay_frames)
        reach = REACH_FRAMES if fraction else 0
        return max(0, reach - whole), min(first_frames, second_frames - whole - reach)


def align(
    first: Recording,
    second: Recording,
    *,
    start: int = 0,
    stop: int | None = None,
    search_s: float = SEARCH_S,
    drift: DriftPolicy = "where it is there",
    together: bool = False,
    thoroughly: bool = False,
) -> Alignment:
    """Find the delay, the gain and the polarity between two versions of a piece.

    Goes by up to eight passages of 3 s.  Of a pure delay, 10 s of music with a floor 60 dB below
    it are right within 2e-5 frame.  Drift, another speed up to 4.5 % and cuts are looked for in
    6.5 s or more; where the passages show them, the whole piece is followed, window by window.
    Both are the same music by what they have in common line by line, whatever their phases.
    """
    _check_channels(first, second)
    stop = first.format.frames if stop is None else min(stop, first.format.frames)
    if together:
        return _alignment(fit_together(Pieces(first, second, start, stop, 0.0, follows=False)))
    pieces = Pieces(
        first,
        at_rate_of(first, second),
        start,
        stop,
        search_s,
        follows=drift != "never",
        thorough=thoroughly,
    )
    found = best_fit(pieces)
    if not found.same_music(stop - start, pieces.second.format.frames):
        raise ComparisonError(_not_the_same(first, second, found.alike, search_s))
    alignment = _alignment(found)
    return replace(alignment, remarks=_remarks(first, second, alignment, found.repeat))


def _alignment(found: Fit) -> Alignment:
    path = found.path
    return Alignment(
        delay_frames=found.delay_frames,
        gain_db=20.0 * math.log10(found.gain) if found.gain > 0.0 else 0.0,
        polarity=found.matching.polarity,
        drift_ppm=found.drift_ppm,
        drift_uncertainty_ppm=found.drift_uncertainty_ppm,
        delay_uncertainty_frames=found.uncertainty_frames,
        path=path,
        swapped=found.matching.crossed,
        channel_polarity=found.matching.signs,
        wow_percent=found.wow_percent,
    )


def _check_channels(first: Recording, second: Recording) -> None:
    one, other = first.format.channels, second.format.channels
    if one != other:
        raise ComparisonError(
            f"{first.place} has {_count(one)} and {second.place} {_count(other)}; "
            "give two files with the same number"
        )


def _count(channels: int) -> str:
    return "1 channel" if channels == 1 else f"{channels} channels"


def _not_the_same(first: Recording, second: Recording, share: float, search_s: float) -> str:
    one, other = first.format.rate_hz, second.format.rate_hz
    converted = "" if one == other else f" (converted from {other} Hz to {one} Hz)"
    return (
        f"{first.place} and {second.place}{converted} are not the same music: only "
        f"{100.0 * share:.0f} % of the second's power follows the first, however it is moved "
        f"within {search_s:g} s; give two versions of one piece that begin together"
    )


def _remarks(
    first: Recording, second: Recording, alignment: Alignment, repeat: Repeat | None
) -> tuple[str, ...]:
    """What was corrected for the comparison and is no edit: rates, clocks, a tone's ambiguity."""
    rate_hz = first.format.rate_hz
    said: list[str] = []
    if second.format.rate_hz != rate_hz:
        said.append(
            f"{second.place} was converted from {second.format.rate_hz} Hz to {rate_hz} Hz for "
            "the comparison; what lies above the lower rate's range is left out."
        )
    if repeat is not None:
        said.append(_repeats(repeat, rate_hz))
    if alignment.path is not None:
        said += _drifts(second, alignment, alignment.path, first)
    return tuple(said)


def _repeats(repeat: Repeat, rate_hz: int) -> str:
    turned = " and turned over" if repeat.turned_over else ""
    polarity = " and the polarity are" if repeat.turned_over else " is"
    away = f"{1e3 * repeat.frames / rate_hz:.2g} ms"
    return (
        f"What is played is a steady tone: moved by about {away}{turned} it fits as well, so "
        f"the delay{polarity} known only up to that. The nearest place was taken; drift was not "
        "looked for."
    )


def _drifts(second: Recording, alignment: Alignment, path: TimePath, first: Recording) -> list[str]:
    ppm, uncertainty = alignment.drift_ppm or 0.0, alignment.drift_uncertainty_ppm or 0.0
    if not ppm:
        return []
    wander = _wander_ppm(path, first.format.frames, first.format.rate_hz)
    wandering = f", wandering by {wander:.2g} ppm" if wander >= _LEAST_WANDER_PPM else ""
    way = "fast" if ppm > 0.0 else "slow"
    if max(abs(ppm), wander) >= _OTHER_SPEED_PPM:  # an edit, with a row of its own
        return []
    amount = f"{abs(ppm):.4g} ppm (± {uncertainty:.1g}){wandering}"
    corrected = "two clocks were at work; corrected for the comparison."
    return [f"{second.place} runs {way} by {amount}: {corrected}"]


def _wander_ppm(path: TimePath, frames: int, rate_hz: int) -> float:
    """Half of the way between the fastest and the slowest second."""
    if not path.wander:
        return 0.0
    stop = min(float(frames), path.start + path.step * (len(path.wander) - 3))
    seconds = np.arange(path.start, stop, float(rate_hz))
    speeds = np.diff(path.smooth_delay_at(seconds)) / rate_hz
    return 0.5e6 * float(np.ptp(speeds)) if len(speeds) else 0.0
