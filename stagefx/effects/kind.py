"""A kind of effect: when a stage needs it, and where its pieces stand in the chain.

The built-in kinds and those of other packages (entry-point group ``stagefx.effects``) are of the
same make.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import IntEnum

from stagefx.circuit.circuit import Circuit
from stagefx.circuit.description.stage import Stage
from stagefx.effects.effect import Effect, Setting


class Place(IntEnum):
    """Where in the chain a piece stands, from source to load."""

    INPUT_NETWORK = 10
    AMPLIFIER_INPUT = 20
    FEEDBACK_PARTS = 30
    AMPLIFIER_OUTPUT = 40
    LIMITS = 50
    LOOP = 60
    DISTORTION = 70
    OUTPUT_NETWORK = 80
    BETWEEN_CHANNELS = 90
    LOAD = 100


@dataclass(frozen=True)
class Setup:
    """For what the effects of a stage are made.

    Parameters
    ----------
    circuit : Circuit
        One draw, its knob set.
    rate_hz : int
        Sampling rate of the music.
    seed : int
        Chooses the noise.
    """

    circuit: Circuit
    rate_hz: int
    seed: int = 0


Piece = tuple[Place, Effect]
"""An effect, and where it stands."""


@dataclass(frozen=True)
class EffectKind:
    """A kind of effect.

    Parameters
    ----------
    name : str
        As written in ``--only`` and ``--without``.
    meaning : str
        What it does to music, in words.
    settings : tuple of Setting
        Its parameters, for any face to offer.
    needed : callable
        From a stage to whether it asks for this effect.
    pieces : callable
        From a setup to the pieces; an effect with nothing to do has none.
    """

    name: str
    meaning: str
    settings: tuple[Setting, ...]
    needed: Callable[[Stage], bool]
    pieces: Callable[[Setup], Iterable[Piece]]
