"""The amplifier's distortion: the harmonics it makes below its limits.

The curve is a sum of Chebyshev polynomials, so a sine at the stated output has exactly the stated
harmonics.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from stagefx.dsp.oversampling import DOWN_REACH, UP_REACH, down, up
from stagefx.effects.channel_pool import Channelwise, OneChannel
from stagefx.effects.effect import Setting, check_settings
from stagefx.effects.kind import EffectKind, Piece, Place, Setup
from stagefx.units import ROOT_TWO, ratio

Array = NDArray[np.float64]
NAME = "distortion"
SETTINGS = (
    Setting("level_v", "V", 1e-6, 1e4, "peak output at which the harmonics are stated"),
    Setting("harmonics", "", 0.0, 1.0, "levels of the 2nd, 3rd ... harmonic re the fundamental"),
)
_ROOM = UP_REACH + DOWN_REACH - 1


@dataclass(frozen=True)
class Distortion:
    """A static curve: y = x + A (sum of s_n a_n T_n(x/A)), less its value at 0.

    Even terms are positive, odd ones negative, which compresses.  Beyond the stated level the
    curve goes on with the slope it has there: the polynomials would explode.
    """

    harmonics: tuple[float, ...]
    level_v: float
    name: ClassVar[str] = NAME
    gain: ClassVar[float] = 1.0
    settings: ClassVar[tuple[Setting, ...]] = SETTINGS
    delay_frames: ClassVar[int] = UP_REACH + DOWN_REACH

    def added(self, x: Array) -> Array:
        """What the curve adds to a signal."""
        order = np.arange(2, 2 + len(self.harmonics))
        signs = np.where(order % 2 == 0, 1.0, -1.0)
        series = np.concatenate(([0.0, 0.0], signs * np.asarray(self.harmonics)))
        series[0] = -chebyshev.chebval(0.0, series)
        slopes = chebyshev.chebder(series)
        inside = np.clip(x, -1.0, 1.0)
        edge = np.where(x > 0.0, chebyshev.chebval(1.0, slopes), chebyshev.chebval(-1.0, slopes))
        return np.asarray(chebyshev.chebval(inside, series) + edge * (x - inside))

    def runners(self, rate_hz: int, *, unit_v: float = 1.0) -> Callable[[int], OneChannel]:  # noqa: ARG002
        """What makes the runner of one channel."""
        return lambda _channel: _DistortionRunner(self, unit_v / self.level_v)

    def at(self, rate_hz: int, channels: int, *, unit_v: float = 1.0) -> Channelwise:
        """A running copy."""
        return Channelwise([self.runners(rate_hz, unit_v=unit_v)], channels)


class _DistortionRunner:
    """Adds the curve's products to one channel, worked out on as many nodes as its order needs."""

    delay_frames = UP_REACH + DOWN_REACH

    def __init__(self, curve: Distortion, per_level: float) -> None:
        self._curve = curve
        self._per_level = per_level
        self._factor = max(2, math.ceil((len(curve.harmonics) + 2) / 2.0))
        self.rewind()

    def rewind(self) -> None:
        self._history = np.zeros(2 * _ROOM + 1)

    def through(self, samples: Array) -> Array:
        line = np.concatenate((self._history, samples))
        self._history = line[samples.size :].copy()
        frames = samples.size + 2 * DOWN_REACH - 1
        nodes = np.empty(self._factor * frames)
        up(line[: frames + 2 * UP_REACH - 1], nodes, factor=self._factor)
        products = self._curve.added(nodes * self._per_level) / self._per_level
        added = np.empty_like(samples)
        down(products, added, factor=self._factor)
        late = line.size - samples.size - self.delay_frames
        return line[late : late + samples.size] + added


def distortion(harmonics_db: Sequence[float], level_v_rms: float) -> Distortion:
    """Add harmonics as a static curve does."""
    ratios, level_v = tuple(ratio(level) for level in harmonics_db), ROOT_TWO * level_v_rms
    for harmonic in ratios:
        check_settings(NAME, SETTINGS, harmonics=harmonic, level_v=level_v)
    return Distortion(ratios, level_v)


def _pieces(setup: Setup) -> Iterator[Piece]:
    amplifier = setup.circuit.stage.amplifier
    if amplifier is None or not amplifier.harmonics or amplifier.harmonics_level is None:
        return
    levels = [level.value for level in amplifier.harmonics]
    yield Place.DISTORTION, distortion(levels, amplifier.harmonics_level.value)


EFFECT = EffectKind(
    NAME,
    "harmonics that the amplifier makes below its limits",
    SETTINGS,
    lambda stage: stage.amplifier is not None and bool(stage.amplifier.harmonics),
    _pieces,
)
