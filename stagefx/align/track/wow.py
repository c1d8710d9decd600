"""A speed that wavers: the delay followed finely, and how much of it would be heard as wow.

What a quick wow smears in a window of half a second is still in step, below a few kilohertz, in a
tenth of one.  So windows are sought at a low rate first, along what is known; each round
straightens the second further, and the next looks higher and shorter.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from stagefx.align.delay.constant import alike
from stagefx.align.path_fit import fit_path
from stagefx.align.time_path import TimePath
from stagefx.align.track.drift import Course, course_along, course_by_phase
from stagefx.align.track.windows import seek_along
from stagefx.io.recording import Recording

Array = NDArray[np.float64]

_ROUNDS = ((0.12, 0.012, 5500), (0.12, 0.004, 11025), (0.12, 0.002, 11025), (0.06, 0.002, 22050))
"""Length of the windows and how far they are sought, in s; sampling rate, in Hz."""
_LENGTH_S = 0.06
"""Of the last windows, which overlap by half: flutter up to 10 Hz is followed."""
_PHASE_ROUNDS = 4
"""Each leaves half of what a window averages out of the quickest flutter."""
_TRIED_S = 12.0
"""A long piece is followed finely only where a part of it gains by that."""
_PROMISING, _LEAST_GAIN = 1.1, 0.5
"""Of what a coarse course leaves unlike, a finer one may leave so much: at first, in the end."""

WEIGHTING_HZ = (0.1, 0.2, 0.315, 0.4, 0.63, 0.8, 1.0, 1.6, 2.0, 4.0, 6.3, 10.0, 20.0, 40.0, 63.0,
                100.0, 200.0)  # fmt: skip
WEIGHTING_DB = (-48.0, -30.6, -19.7, -15.0, -8.4, -6.0, -4.2, -1.8, -0.9, 0.0, -0.9, -2.1, -5.9,
                -10.4, -14.2, -17.3, -23.0)  # fmt: skip
"""IEC 60386, points of the weighting curve (from memory)."""
_SAMPLED_HZ = 200.0
_LOUDER_SHARE = 0.95
"""Two standard deviations: what is exceeded a twentieth of the time (the 2-sigma reading)."""


def follow_finely(
    first: Recording, second: Recording, path: TimePath, start: int, stop: int
) -> Course | None:
    """The course of a wavering speed, or None where following it finely gains nothing."""
    rate_hz = first.format.rate_hz
    tried = round(_TRIED_S * rate_hz)
    if stop - start > 2 * tried:
        middle = (start + stop) // 2
        part = middle - tried // 2, middle + tried // 2
        if _followed(first, second, path, *part) is None:
            return None
    return _followed(first, second, path, start, stop)


def _followed(
    first: Recording, second: Recording, path: TimePath, start: int, stop: int
) -> Course | None:
    rate_hz = first.format.rate_hz
    before = course_along(first, second, path, start, stop)
    found = path
    for length_s, slack_s, sought_hz in _ROUNDS:
        delays = seek_along(
            first,
            second,
            found,
            (start, stop),
            round(length_s * rate_hz),
            round(slack_s * rate_hz),
            max(rate_hz // sought_hz, 1),
        )
        if len(delays.at) < 8:
            return None
        found = fit_path(delays, start, stop, path.jumps).path
    coarse = course_along(first, second, found, start, stop)
    if 1.0 - alike(coarse.spectra) > _PROMISING * (1.0 - alike(before.spectra)):
        return None
    length = round(_LENGTH_S * rate_hz)
    course = course_by_phase(
        first,
        second,
        found,
        length,
        start,
        stop,
        overlap=2,
        rounds=_PHASE_ROUNDS,
        overlooked=False,
    )
    if course is None:
        return None
    after = course_along(first, second, course.fitted.path, start, stop)
    better = 1.0 - alike(after.spectra) < _LEAST_GAIN * (1.0 - alike(before.spectra))
    if not better:
        return None
    return Course(course.fitted, after.spectra, after.gain, course.uncertainty_frames)


def wow_percent(path: TimePath, rate_hz: int, start: int, stop: int) -> float | None:
    """Weighted peak of the speed's wavering after IEC 60386, two sigma; None of a steady one."""
    if not path.wander:
        return None
    frames = np.arange(start, stop, rate_hz / _SAMPLED_HZ)
    if len(frames) < _SAMPLED_HZ:
        return None
    speed = -np.diff(path.smooth_delay_at(frames)) / np.diff(frames)
    speed -= speed.mean()
    # Mirrored, so that its ends meet.
    lines = np.fft.rfft(np.concatenate([speed, speed[::-1]]))
    hz = np.fft.rfftfreq(2 * len(speed), 1.0 / _SAMPLED_HZ)
    level = np.interp(np.log(np.maximum(hz, 1e-3)), np.log(WEIGHTING_HZ), WEIGHTING_DB)
    below = hz < WEIGHTING_HZ[0]
    level[below] = WEIGHTING_DB[0] + 60.0 * np.log10(np.maximum(hz[below], 1e-3) / WEIGHTING_HZ[0])
    heard = np.fft.irfft(lines * 10.0 ** (level / 20.0), 2 * len(speed))[: len(speed)]
    return 100.0 * float(np.quantile(np.abs(heard), _LOUDER_SHARE))
