"""What the reader has to know about how two versions were aligned, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stagefx.audio.recording import Recording
from stagefx.audio.repeats import Repeat
from stagefx.audio.time_path import Jump, TimePath

if TYPE_CHECKING:
    from stagefx.audio.alignment import Alignment

_LEAST_WANDER_PPM = 0.01
_OTHER_SPEED_PPM = 300.0
"""Clocks of recorders lie within this of each other (common practice)."""
_MOST_LISTED = 5


def remarks_on(
    first: Recording, second: Recording, alignment: Alignment, repeat: Repeat | None
) -> tuple[str, ...]:
    """Everything out of the ordinary that was found and dealt with.

    Parameters
    ----------
    first, second : Recording
        Two versions of a piece, as they were given.
    alignment : Alignment
        How the second lies beside the first.
    repeat : Repeat or None
        Where else it would fit as well.

    Returns
    -------
    tuple of str
        Sentences; empty where all is as usual.

    Examples
    --------
    >>> from stagefx.audio.alignment import Alignment
    >>> from stagefx.audio.recording import HeldAudio
    >>> first = HeldAudio(np.zeros((48000, 1)), 48000)
    >>> second = HeldAudio(np.zeros((48000, 1)), 48000, place="take 2")
    >>> path = TimePath(0.0, 0.0, jumps=(Jump(24000, -1.0),))
    >>> said = remarks_on(first, second, Alignment(0.0, 0.0, 1, path=path), None)
    >>> said[0].split(".")[0]
    'take 2 has dropped or doubled samples: 1 sample lacking at 0'
    """
    rate_hz = first.format.rate_hz
    said: list[str] = []
    if second.format.rate_hz != rate_hz:
        said.append(
            f"{second.place} was converted from {second.format.rate_hz} Hz to {rate_hz} Hz for "
            "the comparison; what lies above the lower rate's range is left out."
        )
    if alignment.swapped:
        said.append(
            f"Left and right are exchanged in {second.place}; they were put back for the "
            "comparison."
        )
    if repeat is not None:
        said.append(_repeats(repeat, rate_hz))
    if alignment.path is not None:
        said += _drifts(second, alignment, alignment.path, first)
        said += _jumps(second, alignment.jumps, rate_hz)
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
    if alignment.wow_percent is not None and abs(ppm) < _OTHER_SPEED_PPM:
        wow = f"{alignment.wow_percent:.2g} %"
        return [f"The speed of {second.place} wavers by {wow} (weighted peak). It was taken away."]
    if not ppm:
        return []
    wander = _wander_ppm(path, first.format.frames, first.format.rate_hz)
    wandering = f", wandering by {wander:.2g} ppm" if wander >= _LEAST_WANDER_PPM else ""
    way = "fast" if ppm > 0.0 else "slow"
    if max(abs(ppm), wander) >= _OTHER_SPEED_PPM:
        said = f"{second.place} runs {way} by {1e-4 * abs(ppm):.3g} %"
        return [f"{said}{wandering}: it plays at another speed. It was taken away."]
    amount = f"{abs(ppm):.4g} ppm (± {uncertainty:.1g}){wandering}"
    return [f"{second.place} runs {way} by {amount}: two clocks were at work. It was taken away."]


def _wander_ppm(path: TimePath, frames: int, rate_hz: int) -> float:
    """Half of the way between the fastest and the slowest second."""
    if not path.wander:
        return 0.0
    stop = min(float(frames), path.start + path.step * (len(path.wander) - 3))
    seconds = np.arange(path.start, stop, float(rate_hz))
    speeds = np.diff(path.smooth_delay_at(seconds)) / rate_hz
    return 0.5e6 * float(np.ptp(speeds)) if len(speeds) else 0.0


def _jumps(second: Recording, jumps: tuple[Jump, ...], rate_hz: int) -> list[str]:
    if not jumps:
        return []
    listed = [_jump(jump, rate_hz) for jump in jumps[:_MOST_LISTED]]
    more = len(jumps) - len(listed)
    if more:
        listed.append(f"{more} more")
    said = (
        f"{second.place} has dropped or doubled samples: {'; '.join(listed)}. It was put right on "
        "either side, and the frames around left out."
    )
    return [said]


def _jump(jump: Jump, rate_hz: int) -> str:
    many = abs(jump.frames)
    what = "lacking" if jump.frames < 0.0 else "too many"
    samples = "1 sample" if many == 1.0 else f"{many:.7g} samples"
    return f"{samples} {what} at {jump.frame / rate_hz:.3f} s"
