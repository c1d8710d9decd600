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
    "BlindError": "stagefx.errors",
    "BlindPlan": "stagefx.blind",
    "BlindScore": "stagefx.blind",
    "Comparison": "stagefx.hearing",
    "ComparisonError": "stagefx.errors",
    "Delivery": "stagefx.hearing.delivery",
    "EffectError": "stagefx.errors",
    "Figures": "stagefx.stage.figures",
    "Measurement": "stagefx.bench.measuring",
    "OutputError": "stagefx.errors",
    "RenderReport": "stagefx.effects",
    "Stage": "stagefx.stage",
    "StageError": "stagefx.errors",
    "StagefxError": "stagefx.errors",
    "Survey": "stagefx.survey",
    "UnitError": "stagefx.errors",
    "attribute": "stagefx.effects",
    "compare_files": "stagefx.hearing",
    "compare_stages": "stagefx.hearing",
    "deliver_files": "stagefx.hearing.delivery",
    "deliver_stages": "stagefx.hearing.delivery",
    "effect_kinds": "stagefx.effects",
    "expect": "stagefx.bench.expecting",
    "fit_stage": "stagefx.bench.fitted",
    "integrated_loudness": "stagefx.audio",
    "load_readings": "stagefx.bench",
    "load_stage": "stagefx.stage",
    "open_audio": "stagefx.audio",
    "plan": "stagefx.blind",
    "read_scope": "stagefx.bench.scope",
    "read_stage": "stagefx.stage",
    "ready_made": "stagefx.stage",
    "render": "stagefx.effects",
    "score_files": "stagefx.blind",
    "stage_as_toml": "stagefx.stage",
    "stage_from_readings": "stagefx.bench",
    "stage_schema": "stagefx.stage",
    "survey_folder": "stagefx.survey",
    "work_out": "stagefx.stage.figures",
}

__all__ = ["__version__", *_HOMES]  # noqa: PLE0604 (the table holds names)

if TYPE_CHECKING:  # the same names once more, for type checkers; a test holds the two together
    from stagefx.audio import (
        AudioWriter as AudioWriter,
        integrated_loudness as integrated_loudness,
        open_audio as open_audio,
    )
    from stagefx.bench import (
        load_readings as load_readings,
        stage_from_readings as stage_from_readings,
    )
    from stagefx.bench.expecting import (
        expect as expect,
    )
    from stagefx.bench.fitted import (
        fit_stage as fit_stage,
    )
    from stagefx.bench.measuring import (
        Measurement as Measurement,
    )
    from stagefx.bench.scope import (
        read_scope as read_scope,
    )
    from stagefx.blind import (
        BlindPlan as BlindPlan,
        BlindScore as BlindScore,
        plan as plan,
        score_files as score_files,
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
        BlindError as BlindError,
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
    from stagefx.hearing.delivery import (
        Delivery as Delivery,
        deliver_files as deliver_files,
        deliver_stages as deliver_stages,
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
    from stagefx.survey import Survey as Survey, survey_folder as survey_folder

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
