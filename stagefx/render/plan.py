"""Which effects a stage needs, in the order in which the signal meets them."""

from __future__ import annotations

from collections.abc import Iterable

from stagefx.circuit.description.stage import Stage
from stagefx.effects.effect import Effect
from stagefx.effects.kind import Piece, Place, Setup
from stagefx.effects.limits.limit_set import LimitSet
from stagefx.effects.limits.limiter import Limiting
from stagefx.effects.registry import effect_kinds
from stagefx.errors import EffectError, nearest

WATCH = "watch"
"""Name of what only measures at the amplifier's output; it is never left out."""


def needed(stage: Stage) -> tuple[str, ...]:
    """The effects that a stage's description asks for."""
    return tuple(name for name, kind in effect_kinds().items() if kind.needed(stage))


def chosen(
    stage: Stage, *, only: Iterable[str] = (), without: Iterable[str] = ()
) -> frozenset[str]:
    """The effects to render: all that the stage needs, less what is left out."""
    only, without = tuple(only), tuple(without)
    check_known([*only, *without])
    wanted = [name for name in needed(stage) if name in only or not only]
    return frozenset(name for name in wanted if name not in without)


def check_known(names: Iterable[str]) -> None:
    """Refuse names that no effect has."""
    for name in names:
        if name not in effect_kinds():
            raise EffectError(f"no effect '{name}'{nearest(name, effect_kinds())}")


def stage_pieces(setup: Setup) -> tuple[Piece, ...]:
    """The effects of a stage on music, each with its place."""
    pieces: list[Piece] = []
    if setup.circuit.stage.amplifier is not None:
        pieces.append((Place.LIMITS, Limiting(WATCH, LimitSet())))
    for kind in effect_kinds().values():
        pieces.extend(kind.pieces(setup))
    return tuple(sorted(pieces, key=lambda piece: piece[0]))


def stage_effects(setup: Setup) -> tuple[Effect, ...]:
    """The effects of a stage on music, in the order in which the signal meets them."""
    return tuple(effect for _, effect in stage_pieces(setup))
