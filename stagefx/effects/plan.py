"""Which effects a stage needs, in the order in which the signal meets them."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from stagefx.effects import bandwidth, clip, loading, noise, slew
from stagefx.effects.effect import Effect
from stagefx.effects.limiting import Limiting, LimitSet
from stagefx.errors import EffectError, nearest
from stagefx.stage.circuit import Circuit
from stagefx.stage.description import Stage
from stagefx.stage.limits import limits

EFFECTS = (
    "loading",
    "bandwidth",
    "slew",
    "clip",
    "curvature",
    "noise",
    "hum",
    "interchannel",
    "offset",
    "oscillation",
)
"""Names of all effects a stage may need."""
BUILT_IN = (loading.NAME, bandwidth.NAME, slew.NAME, clip.NAME, noise.NAME)
"""Names of the effects there are."""
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
        In the order of `EFFECTS`.

    Examples
    --------
    >>> from stagefx.stage import load_stage
    >>> needed(load_stage("bare-rails"))
    ('loading', 'bandwidth', 'slew', 'clip', 'noise', 'oscillation')
    """
    amplifier, volume = stage.amplifier, stage.volume
    asked = {"loading", "noise"}
    if amplifier is not None:
        asked |= {"bandwidth", "slew", "clip"}
        if amplifier.harmonics:
            asked.add("curvature")
    if stage.hum is not None:
        asked.add("hum")
    if stage.oscillation is not None:
        asked.add("oscillation")
    mismatched = volume is not None and volume.mismatch is not None and volume.mismatch.value != 0.0
    if stage.interchannel is not None or mismatched:
        asked.add("interchannel")
    if stage.source.offset is not None and stage.source.offset.value != 0.0:
        asked.add("offset")
    return tuple(name for name in EFFECTS if name in asked)


def chosen(stage: Stage, *, only: Iterable[str] = (), without: Iterable[str] = ()) -> set[str]:
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
    set of str
        Names; each is built in.

    Raises
    ------
    EffectError
        An unknown effect, or one that the stage needs and that does not exist yet.

    Examples
    --------
    >>> from stagefx.stage import load_stage
    >>> sorted(chosen(load_stage("line-stage"), only=["clip", "slew"]))
    ['clip', 'slew']
    """
    only, without = tuple(only), tuple(without)
    check_known([*only, *without])
    wanted = [name for name in needed(stage) if name in only or not only]
    wanted = [name for name in wanted if name not in without]
    missing = [name for name in wanted if name not in BUILT_IN]
    if missing:
        raise EffectError(
            f"'{stage.name}' needs the effect {missing[0]}, which cannot be rendered yet; "
            f"leave it out with --without {missing[0]}"
        )
    return set(wanted)


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
        if name not in EFFECTS:
            raise EffectError(f"no effect '{name}'{nearest(name, EFFECTS)}")


def stage_effects(circuit: Circuit, *, seed: int = 0) -> tuple[Effect, ...]:
    """The effects of a stage on music, in the order in which the signal meets them.

    Parameters
    ----------
    circuit : Circuit
        One draw, its knob set.
    seed : int
        Chooses the noise.

    Returns
    -------
    tuple of Effect
        Input network, feedback parts, limits at the amplifier's output, the loop's own speed,
        output network, noise at the load.

    Examples
    --------
    >>> from stagefx.stage import load_stage, nominal
    >>> [effect.name for effect in stage_effects(nominal(load_stage("passive-control")))]
    ['loading', 'noise']
    """
    before = loading.loading_before(circuit)
    hiss = _audible(noise.stage_noise(circuit, seed=seed))
    if circuit.stage.amplifier is None:
        return (before, *hiss)
    return (
        before,
        bandwidth.feedback_parts(circuit),
        *limiting(circuit),
        bandwidth.loop_speed(circuit),
        loading.loading_after(circuit),
        *hiss,
    )


def _audible(hiss: noise.Noise) -> tuple[noise.Noise, ...]:
    return () if hiss.is_silent else (hiss,)


def limiting(circuit: Circuit) -> tuple[Limiting, ...]:
    """What watches and limits the amplifier's output.

    Parameters
    ----------
    circuit : Circuit
        One draw, with an amplifier.

    Returns
    -------
    tuple of Limiting
        What only measures, the slew limit, the clip levels.

    Examples
    --------
    >>> from stagefx.stage import load_stage, nominal
    >>> [effect.name for effect in limiting(nominal(load_stage("line-stage")))]
    ['watch', 'slew', 'clip']
    """
    found = limits(circuit)
    assert found is not None
    rise, fall = found.slew_rise_v_per_s, found.slew_fall_v_per_s
    return (
        Limiting(WATCH, LimitSet()),
        slew.slew(
            np.inf if rise is None else float(rise[0]),
            np.inf if fall is None else float(fall[0]),
            float(found.time_constant_s[0]),
        ),
        clip.clip(
            np.inf if found.high_v is None else float(found.high_v[0]),
            -np.inf if found.low_v is None else float(found.low_v[0]),
        ),
    )
