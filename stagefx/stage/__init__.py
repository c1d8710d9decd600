"""What a stage is, and everything about it that is worked out on paper."""

from stagefx.stage.circuit import Circuit, nominal
from stagefx.stage.description import Stage
from stagefx.stage.files import (
    load_stage,
    read_stage,
    ready_made,
    stage_as_toml,
    stage_from,
    stage_schema,
)

__all__ = [
    "Circuit",
    "Stage",
    "load_stage",
    "nominal",
    "read_stage",
    "ready_made",
    "stage_as_toml",
    "stage_from",
    "stage_schema",
]
