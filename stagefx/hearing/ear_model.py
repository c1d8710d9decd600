"""What an ear finds between two versions: the whole difference, what no filter explains, events.

The floor under both is what 24-bit dither would do in the same music.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.difference.decomposition import Difference
from stagefx.difference.residual.nonlinear_signal import explained_blocks
from stagefx.dsp.dither import dither_floor_dbfs
from stagefx.dsp.random_numbers import grid_generator
from stagefx.hearing.ear.account import EarAccount, MaskAccount
from stagefx.hearing.ear.beside import EarBeside
from stagefx.hearing.events.account import EventAccount
from stagefx.hearing.events.meter import EventMeter
from stagefx.io.prefetch import ahead
from stagefx.io.recording import Recording

Array = NDArray[np.float64]

FLOOR_S = 10.0
"""The floor is taken from so much of the music."""


@dataclass(frozen=True)
class Heard:
    """What the ear model makes of two versions of a piece."""

    pair: EarAccount
    remainder: MaskAccount
    floor_probability: float | None
    floor_noise_to_mask_db: float | None
    events: EventAccount

    def as_json(self) -> dict[str, Any]:
        """The account as plain values."""
        pair, rest = self.pair.as_json(), self.remainder.as_json()
        return {
            "detection_probability": pair["detection_probability"],
            "standard_probability": pair["standard_probability"],
            "noise_to_mask_db": pair["noise_to_mask_db"],
            "residual_noise_to_mask_db": rest["noise_to_mask_db"],
            "disturbed_frames_share": pair["disturbed_frames_share"],
            "pair": pair,
            "remainder": rest,
            "events": self.events.as_json(),
        }


def listen(
    first: Recording,
    second: Recording,
    difference: Difference,
    *,
    full_scale_spl_db: float,
    matched_db: float = 0.0,
    room_dba: float | None = None,
) -> Heard:
    """Pass two versions of a piece through the ear model."""
    made = first.format
    settings = (made.rate_hz, made.channels, full_scale_spl_db, room_dba)
    ear, floor = EarBeside(*settings), _Floor(*settings)
    level, offset = 1.0, np.zeros(made.channels)
    if difference.transfer is not None:
        level = abs(difference.transfer.gain) * 10.0 ** (-matched_db / 20.0)
        offset = difference.transfer.offset
    events = EventMeter(*settings[:3], room_dba=room_dba, gain=level, taps=difference.short_filter)
    for played, expected, left in ahead(explained_blocks(first, second, difference)):
        floor.add(played)
        second_heard = level * (expected + left)
        ear.add(played, second_heard, left)
        # a steady voltage is in the file from its first frame on: its step is heard there
        events.add(played, second_heard, level * (left + offset))
    return Heard(*ear.account(), *floor.found(), events.account())


class _Floor:
    """What 24-bit dither would come to in the beginning of the same music."""

    def __init__(
        self, rate_hz: int, channels: int, full_scale_spl_db: float, room_dba: float | None
    ) -> None:
        self._ear = EarBeside(rate_hz, channels, full_scale_spl_db, room_dba)
        self._left = round(FLOOR_S * rate_hz)
        self._rms = 10.0 ** (dither_floor_dbfs(24) / 20.0) * np.sqrt(0.5)
        self._chance = grid_generator(0, "dither under the ear", 0)

    def add(self, played: Array) -> None:
        played = played[: self._left]
        if not len(played):
            return
        self._left -= len(played)
        dither = self._rms * self._chance.standard_normal(played.shape)
        self._ear.add(played, played + dither, dither)

    def found(self) -> tuple[float | None, float | None]:
        pair, rest = self._ear.account()
        return pair.detection_probability, rest.noise_to_mask_db
