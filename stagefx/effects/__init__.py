"""What a stage does to music: one effect a file, and the chain."""

from stagefx.effects.attribution import Attribution, Contribution, attribute
from stagefx.effects.chain import Chain
from stagefx.effects.effect import Effect, Running, Setting
from stagefx.effects.kind import EffectKind, Place, Setup
from stagefx.effects.plan import chosen, needed, stage_effects
from stagefx.effects.ready import prepare
from stagefx.effects.registry import effect_kinds
from stagefx.effects.render import render
from stagefx.effects.report import RenderReport

__all__ = [
    "Attribution",
    "Chain",
    "Contribution",
    "Effect",
    "EffectKind",
    "Place",
    "RenderReport",
    "Running",
    "Setting",
    "Setup",
    "attribute",
    "chosen",
    "effect_kinds",
    "needed",
    "prepare",
    "render",
    "stage_effects",
]
