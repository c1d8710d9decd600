"""What a stage does to music: one effect a file, and the chain."""

from stagefx.effects.chain import Chain
from stagefx.effects.effect import Effect, Running, Setting
from stagefx.effects.plan import BUILT_IN, EFFECTS, chosen, needed, stage_effects
from stagefx.effects.render import prepare, render
from stagefx.effects.report import RenderReport

__all__ = [
    "BUILT_IN",
    "EFFECTS",
    "Chain",
    "Effect",
    "RenderReport",
    "Running",
    "Setting",
    "chosen",
    "needed",
    "prepare",
    "render",
    "stage_effects",
]
