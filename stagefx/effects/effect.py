"""What an effect is: a small thing that plugs into the chain of a stage.

An effect is a value.  ``effect.at(rate_hz, channels)`` returns a running copy whose
``through(block)`` takes blocks of volts and returns blocks of volts.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from stagefx.dsp.blocks import GRID_FRAMES
from stagefx.errors import EffectError

__all__ = ["GRID_FRAMES", "Effect", "Placed", "Running", "Setting", "check_settings"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Setting:
    """One parameter of an effect, so that any face can offer it.

    Parameters
    ----------
    name : str
        Attribute of the effect.
    unit : str
        Unit of its value.
    minimum, maximum : float
        Range.
    meaning : str
        What it does, in words.
    default : float or None
        What it is where nothing is stated; None is no limit.
    """

    name: str
    unit: str
    minimum: float
    maximum: float
    meaning: str
    default: float | None = None


def check_settings(effect: str, settings: Iterable[Setting], **values: float) -> None:
    """Refuse parameters that are out of their range."""
    for setting in settings:
        value = values.get(setting.name)
        if value is None or setting.minimum <= value <= setting.maximum:
            continue
        bounds = f"{setting.minimum:g} to {setting.maximum:g} {setting.unit}".rstrip()
        given = "not a number" if math.isnan(value) else f"{value:g} {setting.unit}".rstrip()
        raise EffectError(f"{effect}: {setting.name} is {given}, out of range; give {bounds}")


@runtime_checkable
class Running(Protocol):
    """A running copy of an effect."""

    @property
    def delay_frames(self) -> int:
        """By how many frames the output is late, beside the effect's own physics."""
        ...

    def through(self, block: Array) -> Array:
        """Work on the next block.

        Parameters
        ----------
        block : array [n GRID_FRAMES, channels]
            Volts over the unit the copy was made for.  Not changed.

        Returns
        -------
        array [n GRID_FRAMES, channels]
            Volts over that unit and over the effect's gain, late by `delay_frames`; may be
            `block` itself where the effect has nothing to do.
        """
        ...

    def rewind(self) -> None:
        """Forget everything: the next block is the first."""
        ...


@runtime_checkable
class Placed(Protocol):
    """A running copy whose output depends on where in the music a block lies."""

    def start_at(self, frame: int) -> None:
        """Say which frame of the music the first block starts at."""
        ...


@runtime_checkable
class Effect(Protocol):
    """A physical effect of a stage on music."""

    @property
    def name(self) -> str:
        """As written in ``--only`` and ``--without``."""
        ...

    @property
    def gain(self) -> float:
        """Signed gain at 1 kHz: what replaces the effect where it is left out."""
        ...

    @property
    def settings(self) -> tuple[Setting, ...]:
        """Its parameters."""
        ...

    def at(self, rate_hz: int, channels: int, *, unit_v: float = 1.0) -> Running:
        """A running copy.

        Parameters
        ----------
        rate_hz : int
            Sampling rate.
        channels : int
            Channels of every block.
        unit_v : float, V, not 0
            What a sample of 1.0 means.

        Returns
        -------
        Running
            At rest.
        """
        ...
