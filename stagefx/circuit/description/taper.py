"""The laws of volume controls: the unloaded ratio against the knob's position."""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from stagefx.errors import UnitError
from stagefx.units import parse, ratio

_AUDIO = re.compile(r"^audio\s+(\d+(?:\.\d+)?)\s*%$")
_EXPONENTIAL = re.compile(r"^exponential\s+(\d+(?:\.\d+)?)\s*dB$")
HELP = 'write "linear", "audio 10 %", "audio 15 %", "exponential 60 dB" or a list of steps in dB'


@dataclass(frozen=True)
class Taper:
    """A control's law, as straight pieces in ratio or as an exponential."""

    name: str
    positions: tuple[float, ...] = ()
    ratios: tuple[float, ...] = ()
    range_db: float = 0.0
    steps_db: tuple[float, ...] = ()

    def ratio(self, position: float | NDArray[np.float64]) -> NDArray[np.float64]:
        """Unloaded ratio at a position."""
        travel = np.asarray(position, dtype=np.float64)
        if self.steps_db:
            index = np.rint(travel * (len(self.steps_db) - 1)).astype(np.intp)
            return np.asarray(10.0 ** (np.asarray(self.steps_db)[index] / 20.0))
        if self.range_db:
            return np.asarray(10.0 ** (-self.range_db * (1.0 - travel) / 20.0))
        return np.asarray(np.interp(travel, self.positions, self.ratios))

    def position(self, wanted: float) -> float:
        """The position at which the unloaded ratio comes nearest to a wanted one."""
        if self.steps_db:
            levels = np.asarray(self.steps_db)
            target = 20.0 * np.log10(max(wanted, 1e-15))
            return float(np.argmin(np.abs(levels - target))) / max(len(levels) - 1, 1)
        if self.range_db:
            level_db = 20.0 * np.log10(max(wanted, 1e-15))
            return float(np.clip(1.0 + level_db / self.range_db, 0.0, 1.0))
        return float(np.interp(wanted, self.ratios, self.positions))


def read_taper(written: Any) -> Taper:
    """Read a control's law as a stage file states it.

    An audio taper is two straight lines that meet at half travel, through the stated share of
    the whole: common practice of carbon tracks.
    """
    if isinstance(written, str):
        if written == "linear":
            return Taper(written, (0.0, 1.0), (0.0, 1.0))
        if (match := _AUDIO.match(written)) and 0.0 < (share := float(match[1]) / 100.0) < 1.0:
            return Taper(written, (0.0, 0.5, 1.0), (0.0, share, 1.0))
        if (match := _EXPONENTIAL.match(written)) and float(match[1]) > 0.0:
            return Taper(written, range_db=float(match[1]))
    elif isinstance(written, Sequence) and len(written) > 1:
        levels = tuple(parse(step, "dB").value for step in written)
        if all(a < b for a, b in itertools.pairwise(levels)) and levels[-1] <= 0.0:
            return Taper("steps", steps_db=levels)
        raise UnitError("steps must rise from the lowest to at most 0 dB")
    raise UnitError(f"{written!r} is no taper; {HELP}")


def setting_ratio(setting: str) -> float:
    """The unloaded ratio of a setting in decibels."""
    return ratio(parse(setting, "dB").value)
