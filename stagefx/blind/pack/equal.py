"""Versions of an excerpt made equal in everything but the difference that is asked about.

All go through the same steps: 20 kHz low-pass, no direct current, the same loudness, the same
fades.  What lies above 20 kHz, an offset or a click at an end would tell them apart by other means
than listening.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.loudness import integrated_loudness
from stagefx.errors import BlindError

Array = NDArray[np.float64]

LEVEL_STEP_DB = 0.02
"""Versions whose loudness agrees this well are left as they are: a touch of gain on one of them
would itself be a mark, at frequencies where they do not differ."""
FADE_S = 0.05
PASS_HZ, STOP_HZ = 20000.0, 20700.0
_TAPS_S = 0.01


def equalised(versions: Sequence[Array], rate_hz: int) -> list[Array]:
    """Versions of an excerpt that differ in nothing but what they are about."""
    fade = _fades(len(versions[0]), rate_hz)[:, None]
    clean = [_without_dc(_low_passed(version, rate_hz), fade) for version in versions]
    levels = [integrated_loudness(version, rate_hz=rate_hz) for version in clean]
    if not all(math.isfinite(level) for level in levels):
        raise BlindError(
            "a version is silent or shorter than 0.4 s, so the levels cannot be matched; give a "
            "longer passage in which something is played"
        )
    made = []
    for version, level in zip(clean, levels, strict=True):
        apart = levels[0] - level
        gain = 1.0 if abs(apart) <= LEVEL_STEP_DB else 10.0 ** (apart / 20.0)
        made.append(np.ascontiguousarray(gain * version * fade))
    return made


def _without_dc(version: Array, fade: Array) -> Array:
    """So that the faded version has no direct current."""
    return np.asarray(version - (version * fade).sum(axis=0) / max(float(fade.sum()), 1.0))


def _low_passed(version: Array, rate_hz: int) -> Array:
    """A linear-phase low-pass, the same for all; nothing at rates that hold nothing above."""
    if rate_hz / 2.0 <= PASS_HZ:
        return version
    stop_hz = min(STOP_HZ, 0.5 * rate_hz)
    reach = round(_TAPS_S * rate_hz)
    at = np.arange(-reach, reach + 1)
    middle = (PASS_HZ + stop_hz) / rate_hz
    taps = middle * np.sinc(middle * at) * np.kaiser(2 * reach + 1, 13.0)
    size = 1 << (len(version) + 2 * reach).bit_length()
    spectrum = np.fft.rfft(version, size, axis=0) * np.fft.rfft(taps, size)[:, None]
    filtered = np.fft.irfft(spectrum, size, axis=0)
    return np.asarray(filtered[reach : reach + len(version)])


def _fades(frames: int, rate_hz: int) -> Array:
    """Raised cosines at both ends, nothing at the very first and last frame."""
    ramp = min(round(FADE_S * rate_hz), frames // 2)
    rise = 0.5 - 0.5 * np.cos(np.pi * np.arange(ramp) / max(ramp, 1))
    return np.concatenate([rise, np.ones(frames - 2 * ramp), rise[::-1]])


def changed_plainly(version: Array, rate_hz: int, cut_db: float) -> Array:
    """A version with less treble, for training and as the positive control.

    ``|H| = (1 + g f^2 / f0^2) / (1 + f^2 / f0^2)``, f0 = 4 kHz, without any phase
    """
    hz = np.fft.rfftfreq(len(version), 1.0 / rate_hz)
    ratio = np.square(hz / 4000.0)
    gain = (1.0 + 10.0 ** (-cut_db / 20.0) * ratio) / (1.0 + ratio)
    spectrum = np.fft.rfft(version, axis=0) * gain[:, None]
    return np.asarray(np.fft.irfft(spectrum, len(version), axis=0))
