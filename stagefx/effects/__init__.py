"""What a stage does to music: what an effect is, and the effects there are."""

from stagefx.effects.effect import Effect, Running, Setting
from stagefx.effects.kind import EffectKind, Place, Setup
from stagefx.effects.registry import effect_kinds

__all__ = ["Effect", "EffectKind", "Place", "Running", "Setting", "Setup", "effect_kinds"]
