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
    """The effects that a stage's description asks for.

    Parameters
    ----------
    stage : Stage
        Any stage.

    Returns
    -------
    tuple of str
        Names.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> needed(load_stage("bare-rails"))
    ('loading', 'bandwidth', 'slew', 'clip', 'noise', 'oscillation')
    """
    return tuple(name for name, kind in effect_kinds().items() if kind.needed(stage))


def chosen(
    stage: Stage, *, only: Iterable[str] = (), without: Iterable[str] = ()
) -> frozenset[str]:
    """The effects to render: all that the stage needs, less what is left out.

    Parameters
    ----------
    stage : Stage
        Any stage.
    only : iterable of str
        Render these alone; all where it is empty.
    without : iterable of str
        Leave these out.

    Returns
    -------
    frozenset of str
        Names.

    Raises
    ------
    EffectError
        An unknown effect; the nearest is suggested.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> sorted(chosen(load_stage("line-stage"), only=["clip", "slew"]))
    ['clip', 'slew']
    """
    only, without = tuple(only), tuple(without)
    check_known([*only, *without])
    wanted = [name for name in needed(stage) if name in only or not only]
    return frozenset(name for name in wanted if name not in without)


def check_known(names: Iterable[str]) -> None:
    """Refuse names that no effect has.

    Parameters
    ----------
    names : iterable of str
        As typed.

    Raises
    ------
    EffectError
        With the nearest known name.

    Examples
    --------
    >>> check_known(["slew"])
    """
    for name in names:
        if name not in effect_kinds():
            raise EffectError(f"no effect '{name}'{nearest(name, effect_kinds())}")


def stage_pieces(setup: Setup) -> tuple[Piece, ...]:
    """The effects of a stage on music, each with its place.

    Parameters
    ----------
    setup : Setup
        Circuit, rate and seed.

    Returns
    -------
    tuple of (Place, Effect)
        In the order in which the signal meets them.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> from stagefx.circuit.circuit import nominal
    >>> setup = Setup(nominal(load_stage("line-stage")), 44100)
    >>> [effect.name for _, effect in stage_pieces(setup)]
    ['loading', 'bandwidth', 'watch', 'slew', 'clip', 'bandwidth', 'loading', 'noise']
    """
    pieces: list[Piece] = []
    if setup.circuit.stage.amplifier is not None:
        pieces.append((Place.LIMITS, Limiting(WATCH, LimitSet())))
    for kind in effect_kinds().values():
        pieces.extend(kind.pieces(setup))
    return tuple(sorted(pieces, key=lambda piece: piece[0]))


def stage_effects(setup: Setup) -> tuple[Effect, ...]:
    """The effects of a stage on music, in the order in which the signal meets them.

    Parameters
    ----------
    setup : Setup
        Circuit, rate and seed.

    Returns
    -------
    tuple of Effect
        Networks, feedback parts, limits, the loop's own speed, noise.

    Examples
    --------
    >>> from stagefx.circuit.description.files import load_stage
    >>> from stagefx.circuit.circuit import nominal
    >>> setup = Setup(nominal(load_stage("passive-control")), 44100)
    >>> [effect.name for effect in stage_effects(setup)]
    ['loading', 'noise']
    """
    return tuple(effect for _, effect in stage_pieces(setup))
