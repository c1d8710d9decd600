"""Every caution the program gives, in one place, and the rules by which one is shown.

A caution stands beside what it concerns, not on a page of warnings.
"""

from __future__ import annotations

from types import MappingProxyType

from stagefx.circuit.description.stage import Stage

CAUTIONS = MappingProxyType(
    {
        "mains": (
            "Mains wiring must follow the local code and is work for licensed people: enclosed, "
            "earthed, fused. Unplug first, and let the reservoirs discharge."
        ),
        "speakers-off": ("Unplug the loudspeakers for first power and while looking for a fault."),
        "ultrasonic": (
            "An oscillation far above hearing is silent and can still burn a tweeter: unplug the "
            "loudspeakers first."
        ),
        "direct-current": (
            "Direct current warms a woofer's coil and holds it off centre: unplug the "
            "loudspeakers until the cause is found or a capacitor blocks it."
        ),
        "hearing": (
            "Turn the level down before a difference is turned up: 85 dBA is the usual limit for "
            "eight hours a day."
        ),
        "listening": (
            "Begin with the volume down, then turn it up to where music is comfortable: 85 dBA is "
            "the usual limit for eight hours a day, and headphones reach far more. Do not turn it "
            "up to look for a difference."
        ),
        "earth": "Never lift a safety earth to cure hum.",
        "scope-ground": (
            "A scope's ground clip is at mains earth: clip it to the stage's ground only, never to "
            "a rail or to one side of a balanced or bridged output."
        ),
        "turn-down": (
            "Turn the volume down before looking for it: clipped music sends more power into a "
            "tweeter than clean music does."
        ),
    }
)
"""By name."""

_BY_FAULT = MappingProxyType(
    {
        "clips-on-its-source": ("turn-down",),
        "low-phase-margin": ("ultrasonic", "scope-ground"),
        "oscillates": ("ultrasonic", "scope-ground"),
        "regulator-drops-out": ("mains", "earth"),
        "part-over-voltage": ("mains",),
        "dc-at-speaker": ("direct-current",),
        "ultrasonic-power-in-tweeter": ("ultrasonic",),
        "output-current-limited": ("speakers-off",),
        "supply-above-maximum": ("mains", "speakers-off"),
        "gain-below-one": ("speakers-off",),
    }
)


def caution_for(code: str) -> str:
    """The caution that goes with a fault."""
    return " ".join(CAUTIONS[name] for name in _BY_FAULT[code])


def cautions_of(stage: Stage) -> tuple[str, ...]:
    """The cautions that apply to working on a stage at all, fault or none."""
    rules = {
        "mains": stage.supply is not None and stage.supply.secondary is not None,
        "earth": stage.hum is not None,
        "speakers-off": stage.supply is not None and stage.listening is not None,
        "scope-ground": stage.amplifier is not None,
    }
    return tuple(CAUTIONS[name] for name, applies in rules.items() if applies)
