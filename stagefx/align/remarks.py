"""What the reader has to know about how two versions were aligned, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stagefx.align.delay.periodicity import Repeat
from stagefx.align.time_path import TimePath
from stagefx.io.recording import Recording

if TYPE_CHECKING:
    from stagefx.align.alignment import Alignment

_LEAST_WANDER_PPM = 0.01
_OTHER_SPEED_PPM = 100.0
"""Clocks of recorders lie within this of each other (common practice)."""


def remarks_on(
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
