"""The kinds of effect there are: the built-in ones, and those of other packages."""

from __future__ import annotations

from functools import cache
from importlib.metadata import EntryPoint, entry_points
from types import MappingProxyType

from stagefx.effects import crosstalk, distortion
from stagefx.effects.added import hum, noise, offset, oscillation
from stagefx.effects.kind import EffectKind
from stagefx.effects.limits import clip, slew
from stagefx.effects.linear import bandwidth, loading
from stagefx.errors import EffectError

GROUP = "stagefx.effects"
"""Entry-point group by which other packages add effects; each names an `EffectKind`."""

BUILT_IN: tuple[EffectKind, ...] = (
    loading.EFFECT,
    bandwidth.EFFECT,
    slew.EFFECT,
    clip.EFFECT,
    distortion.EFFECT,
    noise.EFFECT,
    hum.EFFECT,
    crosstalk.EFFECT,
    offset.EFFECT,
    oscillation.EFFECT,
)


@cache
def effect_kinds() -> MappingProxyType[str, EffectKind]:
    """All kinds of effect, by name.

    Returns
    -------
    mapping of str to EffectKind
        The built-in ones first.

    Raises
    ------
    EffectError
        A package offers something that is no effect or cannot be loaded, or a name that is taken.

    Examples
    --------
    >>> list(effect_kinds())[:4]
    ['loading', 'bandwidth', 'slew', 'clip']
    """
    kinds = {kind.name: kind for kind in BUILT_IN}
    for point in entry_points(group=GROUP):
        kind = _loaded(point)
        if kind.name in kinds:
            raise EffectError(
                f"{point.value} offers an effect named '{kind.name}', a name that is taken; "
                "mend or remove that package"
            )
        kinds[kind.name] = kind
    return MappingProxyType(kinds)


def _loaded(point: EntryPoint) -> EffectKind:
    """What another package offers."""
    try:
        kind = point.load()
    except Exception as error:
        raise EffectError(
            f"the effect '{point.name}' of {point.value} cannot be loaded ({error}); "
            "mend or remove the package that offers it"
        ) from error
    if not isinstance(kind, EffectKind):
        raise EffectError(
            f"the package that offers the effect '{point.name}' gives {point.value}, which is "
            "no EffectKind; mend or remove that package"
        )
    return kind
