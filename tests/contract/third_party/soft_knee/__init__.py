"""An effect as another package would write it: a load that gives way softly, y = K tanh(x/K)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from stagefx.effects import EffectKind, Place, Setting, Setup

KNEE_V = 2.0
SETTINGS = (Setting("knee_v", "V", 0.1, 100.0, "highest voltage that the load lets stand", KNEE_V),)


@dataclass(frozen=True)
class SoftKnee:
    """The effect: a value."""

    knee_v: float = KNEE_V
    name: str = "soft-knee"
    gain: float = 1.0
    settings: tuple[Setting, ...] = SETTINGS

    def at(self, rate_hz: int, channels: int, *, unit_v: float = 1.0) -> Running:
        return Running(self.knee_v / abs(unit_v))


class Running:
    """A running copy: samples in, samples out, one frame late."""

    delay_frames = 1

    def __init__(self, knee: float) -> None:
        self._knee = knee
        self.rewind()

    def rewind(self) -> None:
        self._before: np.ndarray | None = None

    def through(self, block: np.ndarray) -> np.ndarray:
        before = np.zeros((1, block.shape[1])) if self._before is None else self._before
        self._before = block[-1:]
        return self._knee * np.tanh(np.concatenate((before, block[:-1])) / self._knee)


def pieces(setup: Setup) -> Iterator[tuple[Place, SoftKnee]]:
    """Where it stands: at the load of every stage that has one."""
    if setup.circuit.stage.load is not None:
        yield Place.LOAD, SoftKnee()


EFFECT = EffectKind(
    "soft-knee", "a load that gives way softly", SETTINGS, lambda s: s.load is not None, pieces
)
