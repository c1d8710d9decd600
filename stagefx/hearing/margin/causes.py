"""What stands behind each effect of a stage, and the stage with more of it.

A cause is one kind of part or figure: all shunt capacitances together, the slew limit.  It grows by
a factor in the direction in which its effect does.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from stagefx.circuit.circuit import Array, Circuit
from stagefx.circuit.description.stage import Crosstalk
from stagefx.effects.distortion import Distortion
from stagefx.effects.effect import Effect
from stagefx.effects.limits.limiter import Limiting
from stagefx.render.plan import needed

LIMITS = frozenset({"slew", "clip", "distortion", "oscillation"})
"""Effects that bend the music: what they leave is no matter of a response."""
_SHUNT = ("input_cable_f", "input_shunt_f", "input_f", "output_cable_f", "load_f")
_COUPLING = ("source_coupling_f", "input_coupling_f", "output_coupling_f")


@dataclass(frozen=True)
class Cause:
    """One kind of part or figure behind an effect."""

    effect: str
    name: str
    more: str


def _cause(effect: str, name: str, subject: str, word: str) -> Cause:
    return Cause(effect, name, f"{subject} would have to be {{times}} {word}")


SHUNT = _cause("loading", "shunt capacitance", "the capacitance of cables and filters", "as large")
COUPLING = _cause("loading", "coupling capacitors", "the coupling capacitors", "smaller")
GAIN_BANDWIDTH = _cause("bandwidth", "gain-bandwidth", "the amplifier's bandwidth", "smaller")
FEEDBACK_C = _cause("bandwidth", "feedback capacitor", "the feedback capacitor", "as large")
GAIN_LEG_C = _cause("bandwidth", "gain-leg capacitor", "the capacitor in the gain leg", "smaller")
SLEW = _cause("slew", "slew limit", "the amplifier", "slower")
CLIP = _cause("clip", "clip levels", "the clip levels", "lower")
HARMONICS = _cause("distortion", "harmonics", "the amplifier's harmonics", "as strong")
NOISE = _cause("noise", "noise voltage", "the noise", "as strong")
HUM = _cause("hum", "hum voltage", "the hum", "as strong")
MISMATCH = _cause("crosstalk", "mismatch", "the mismatch of the channels, in dB,", "as large")
CROSSTALK = _cause(
    "crosstalk", "coupling of the channels", "the coupling between the channels", "as strong"
)
OSCILLATION = _cause("oscillation", "oscillation", "the oscillation", "as strong")
OFFSET = _cause("offset", "direct voltage", "the direct voltage", "as large")


def causes_of(circuit: Circuit) -> tuple[Cause, ...]:
    """The causes that a stage has, effect by effect."""
    wanted = needed(circuit.stage)
    return tuple(cause for cause in _all(circuit, wanted) if cause.effect in wanted)


def _all(circuit: Circuit, wanted: Sequence[str]) -> Iterator[Cause]:
    inverting = _inverting(circuit)
    if any(_stands(circuit, key) for key in _SHUNT):
        yield SHUNT
    if any(_stands(circuit, key) for key in _COUPLING) or (
        inverting and circuit.gain_leg_f is not None
    ):
        yield COUPLING
    if circuit.device.gain_bandwidth_hz is not None:
        yield GAIN_BANDWIDTH
    if circuit.feedback_f is not None:
        yield FEEDBACK_C
    if circuit.gain_leg_f is not None and not inverting:
        yield GAIN_LEG_C
    yield from (SLEW, CLIP, HARMONICS, NOISE, HUM)
    volume, between = circuit.stage.volume, circuit.stage.crosstalk
    if volume is not None and volume.mismatch is not None and volume.mismatch.value != 0.0:
        yield MISMATCH
    if between is not None:
        yield CROSSTALK
    yield from (OFFSET, OSCILLATION)
    known = {cause.effect for cause in _KNOWN}
    for name in wanted:
        if name not in known:
            yield Cause(name, name, f"what '{name}' does would have to be {{times}} as much")


_KNOWN = (SHUNT, GAIN_BANDWIDTH, SLEW, CLIP, HARMONICS, NOISE, HUM, MISMATCH, OSCILLATION, OFFSET)


def _stands(circuit: Circuit, key: str) -> bool:
    value = getattr(circuit, key)
    return value is not None and bool((value > 0.0).any())


def _inverting(circuit: Circuit) -> bool:
    amplifier = circuit.stage.amplifier
    return amplifier is not None and amplifier.topology == "inverting"


def grown(circuit: Circuit, cause: Cause, times: float) -> Circuit:
    """A stage's circuit with more of a linear effect's cause."""
    if cause is SHUNT:
        return _scaled(circuit, _SHUNT, times)
    if cause is COUPLING:
        more = ("gain_leg_f",) if _inverting(circuit) else ()
        return _scaled(circuit, (*_COUPLING, *more), 1.0 / times)
    if cause is GAIN_BANDWIDTH:
        assert circuit.device.gain_bandwidth_hz is not None
        slower: Array = circuit.device.gain_bandwidth_hz / times
        return replace(circuit, device=replace(circuit.device, gain_bandwidth_hz=slower))
    if cause is FEEDBACK_C:
        return _scaled(circuit, ("feedback_f",), times)
    if cause is GAIN_LEG_C:
        return _scaled(circuit, ("gain_leg_f",), 1.0 / times)
    if cause is CROSSTALK:
        return _closer(circuit, times)
    return circuit


def _scaled(circuit: Circuit, keys: Sequence[str], factor: float) -> Circuit:
    values = {key: getattr(circuit, key) for key in keys}
    found = {key: factor * value for key, value in values.items() if value is not None}
    return replace(circuit, **found)


def _closer(circuit: Circuit, times: float) -> Circuit:
    between = circuit.stage.crosstalk
    assert between is not None
    stated = {key: getattr(between, key) for key in Crosstalk.model_fields}
    found = {
        key: replace(value, value=times * value.value)
        for key, value in stated.items()
        if value is not None
    }
    stage = circuit.stage.model_copy(update={"crosstalk": between.model_copy(update=found)})
    return replace(circuit, stage=stage)


def grown_limits(effects: Sequence[Effect], cause: Cause, times: float) -> tuple[Effect, ...]:
    """A stage's effects with more of the cause of one that bends the music."""
    return tuple(
        _MORE[cause.effect](effect, times) if effect.name == cause.effect else effect
        for effect in effects
    )


def _slower(effect: Effect, times: float) -> Effect:
    assert isinstance(effect, Limiting)
    own = effect.limits
    rise, fall = own.slew_rise_v_per_s / times, own.slew_fall_v_per_s / times
    return replace(effect, limits=replace(own, slew_rise_v_per_s=rise, slew_fall_v_per_s=fall))


def _lower(effect: Effect, times: float) -> Effect:
    assert isinstance(effect, Limiting)
    own = effect.limits
    return replace(effect, limits=replace(own, high_v=own.high_v / times, low_v=own.low_v / times))


def _more_bent(effect: Effect, times: float) -> Effect:
    assert isinstance(effect, Distortion)
    return replace(effect, harmonics=tuple(times * level for level in effect.harmonics))


def _taking_more(effect: Effect, times: float) -> Effect:
    if isinstance(effect, Limiting):
        return replace(effect, limits=effect.limits.taking(times))
    return replace(effect, peak_v=times * effect.peak_v)  # type: ignore[type-var, attr-defined]


_MORE: dict[str, Callable[[Effect, float], Effect]] = {
    "slew": _slower,
    "clip": _lower,
    "distortion": _more_bent,
    "oscillation": _taking_more,
}
