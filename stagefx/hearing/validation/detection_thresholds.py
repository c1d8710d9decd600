"""The least of a change, in a sound made for it, that this program says may be heard."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from stagefx.circuit.circuit import nominal
from stagefx.circuit.description.files import stage_from
from stagefx.difference.decomposition import take_apart
from stagefx.hearing.rows.difference import build_audibility
from stagefx.hearing.rows.noise import noise_change
from stagefx.hearing.rows.stages import harmonics_row
from stagefx.hearing.thresholds import limits
from stagefx.hearing.validation.synthetic import RATE_HZ, all_pass, detection, pink, through
from stagefx.io.recording import HeldAudio

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

EVEN_CHANCE = 0.5
_STEPS = 30
_WIDEST, _NARROWEST = 1.0, 32.0


def _least(heard: Callable[[float], bool], low: float, high: float) -> float:
    """Where a change begins to be heard, by bisection along its logarithm."""
    for _ in range(_STEPS):
        middle = (low * high) ** 0.5
        low, high = (low, middle) if heard(middle) else (middle, high)
        if high < 1.01 * low:
            break
    return high


def _row(name: str, first: Array, second: Array) -> float:
    held = (HeldAudio(np.ascontiguousarray(sound), RATE_HZ) for sound in (first, second))
    rows = {row.name: row for row in build_audibility(take_apart(*held))}
    return rows[name].value or 0.0


def group_delay_heard_ms(hz: float, published_ms: float) -> float:
    """From which peak of group delay on its row speaks up."""
    sound = pink()
    value = _row("group delay", sound, through(sound, all_pass(hz, published_ms)))
    return published_ms * limits()["group delay"].may / value


def tone_heard_db_spl(hz: float) -> float:
    """From which level on a line of hum may be heard in silence."""
    return _level_heard(lambda level: noise_change([hz], [-np.inf], [level]).over_db)


def white_noise_heard_db_spl() -> float:
    """From which level on white noise may be heard in silence."""
    hz = 10.0 ** (np.arange(13, 43) / 10.0)
    share_db = 10.0 * np.log10(hz * (10.0**0.05 - 10.0**-0.05) / 20e3)
    silence = np.full(hz.size, -np.inf)
    return _level_heard(lambda level: noise_change(hz, silence, level + share_db).over_db)


def _level_heard(over_db: Callable[[float], float]) -> float:
    may = limits()["noise"].may
    low, high = -40.0, 100.0
    while high - low > 1e-3:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if over_db(middle) >= may else (middle, high)
    return high


def balance_heard_db() -> float:
    """From which level between the channels on the row of balance speaks up."""
    sound, may = pink(2), limits()["balance"].may

    def heard(db: float) -> bool:
        return _row("balance", sound, sound * [1.0, 10.0 ** (-db / 20.0)]) >= may

    return _least(heard, 0.05, 5.0)


def delay_heard_us() -> float:
    """From which delay between the channels on its row speaks up."""
    sound = np.repeat(pink(1, low_hz=150.0, high_hz=1700.0), 2, axis=1)
    may = limits()["inter-channel delay"].may

    def heard(us: float) -> bool:
        late = through(sound[:, 1:], lambda hz: np.exp(-2e-6j * np.pi * hz * us))
        return _row("inter-channel delay", sound, np.hstack((sound[:, :1], late))) >= may

    return _least(heard, 1.0, 100.0)


def harmonic_heard_db() -> float:
    """From which second harmonic on its row speaks up."""
    source = {"level": "2 V rms"}
    straight = nominal(stage_from({"source": source}))

    def value(level_db: float) -> float:
        bent = {"topology": "follower", "harmonics": [f"{level_db} dB"]}
        bent["harmonics_level"] = "1 V rms"
        other = nominal(stage_from({"source": source, "amplifier": bent}))
        return harmonics_row(straight, other, [0.0, 2.0**0.5]).value or 0.0

    may = limits()["harmonics"].may
    low, high = -120.0, 0.0
    while high - low > 0.01:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if value(middle) >= may else (middle, high)
    return high


def resonance_heard_db(quality: float, hz: float = 1000.0) -> float:
    """How strong a resonance must be beside pink noise for the ear model to notice it."""
    sound = pink()

    def heard(share: float) -> bool:
        def response(at_hz: Array) -> Complex:
            ratio = np.maximum(at_hz, 1e-6) / hz
            return np.asarray(1.0 + share / (1.0 + 1j * quality * (ratio - 1.0 / ratio)))

        return detection(sound, through(sound, response)) >= EVEN_CHANCE

    return 20.0 * float(np.log10(_least(heard, 1e-3, 10.0)))


def rise_per_doubled_q_db() -> float:
    """By how much the threshold of a resonance rises when its Q is doubled."""
    rise = resonance_heard_db(_NARROWEST) - resonance_heard_db(_WIDEST)
    return rise / float(np.log2(_NARROWEST / _WIDEST))
