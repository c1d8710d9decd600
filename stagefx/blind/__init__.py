"""Do people hear it: plan, pack, seal, score."""

from stagefx.blind.keys import SealedKey, load_key
from stagefx.blind.plan import BlindPlan, plan
from stagefx.blind.protocol import PROTOCOLS, Protocol
from stagefx.blind.score import BlindScore, score, score_files
from stagefx.blind.simulate import Simulation, simulate_plan

__all__ = [
    "PROTOCOLS",
    "BlindPlan",
    "BlindScore",
    "Protocol",
    "SealedKey",
    "Simulation",
    "load_key",
    "plan",
    "score",
    "score_files",
    "simulate_plan",
]
