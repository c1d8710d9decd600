"""What a small line-level audio stage does to music, and whether it would be heard.

Every public name is here, and is loaded from its home when it is first used, so that
``import stagefx`` costs next to nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

_HOMES = {
    "Attribution": "stagefx.effects",
    "AudioError": "stagefx.errors",
    "AudioWriter": "stagefx.audio",
    "Comparison": "stagefx.hearing",
    "ComparisonError": "stagefx.errors",
    "EffectError": "stagefx.errors",
    "Figures": "stagefx.stage.figures",
    "OutputError": "stagefx.errors",
    "RenderReport": "stagefx.effects",
    "Stage": "stagefx.stage",
    "StageError": "stagefx.errors",
    "StagefxError": "stagefx.errors",
    "UnitError": "stagefx.errors",
    "attribute": "stagefx.effects",
    "compare_files": "stagefx.hearing",
    "compare_stages": "stagefx.hearing",
    "effect_kinds": "stagefx.effects",
    "integrated_loudness": "stagefx.audio",
    "load_stage": "stagefx.stage",
    "open_audio": "stagefx.audio",
    "read_stage": "stagefx.stage",
    "ready_made": "stagefx.stage",
    "render": "stagefx.effects",
    "stage_as_toml": "stagefx.stage",
    "stage_schema": "stagefx.stage",
    "work_out": "stagefx.stage.figures",
}

__all__ = ["__version__", *_HOMES]  # noqa: PLE0604 (the table holds names)

if TYPE_CHECKING:  # the same names once more, for type checkers; a test holds the two together
    from stagefx.audio import (
        AudioWriter as AudioWriter,
        integrated_loudness as integrated_loudness,
        open_audio as open_audio,
    )
    from stagefx.effects import (
        Attribution as Attribution,
        RenderReport as RenderReport,
        attribute as attribute,
        effect_kinds as effect_kinds,
        render as render,
    )
    from stagefx.errors import (
        AudioError as AudioError,
        ComparisonError as ComparisonError,
        EffectError as EffectError,
        OutputError as OutputError,
        StageError as StageError,
        StagefxError as StagefxError,
        UnitError as UnitError,
    )
    from stagefx.hearing import (
        Comparison as Comparison,
        compare_files as compare_files,
        compare_stages as compare_stages,
    )
    from stagefx.stage import (
        Stage as Stage,
        load_stage as load_stage,
        read_stage as read_stage,
        ready_made as ready_made,
        stage_as_toml as stage_as_toml,
        stage_schema as stage_schema,
    )
    from stagefx.stage.figures import (
        Figures as Figures,
        work_out as work_out,
    )

    __version__: str
else:

    def __getattr__(name: str) -> object:
        if name == "__version__":
            from importlib.metadata import version

            value = version("stagefx")
        elif name in _HOMES:
            from importlib import import_module

            value = getattr(import_module(_HOMES[name]), name)
        else:
            raise AttributeError(f"module 'stagefx' has no attribute {name!r}")
        globals()[name] = value
        return value

    def __dir__() -> list[str]:
        return sorted({*globals(), *__all__})
