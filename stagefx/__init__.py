"""What a small line-level audio stage does to music, and whether it would be heard.

Every public name is here, and is loaded from its home when it is first used, so that
``import stagefx`` costs next to nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

_HOMES = {
    "Answer": "stagefx.report.answer.results",
    "Attribution": "stagefx.render.attribution",
    "AudioError": "stagefx.errors",
    "AudioWriter": "stagefx.io.writing",
    "Audition": "stagefx.audition.audition",
    "BlindError": "stagefx.errors",
    "BlindPlan": "stagefx.blind.planning",
    "BlindScore": "stagefx.blind.result",
    "Comparison": "stagefx.audition.comparison",
    "ComparisonError": "stagefx.errors",
    "Delivery": "stagefx.audition.delivery",
    "EffectError": "stagefx.errors",
    "Figures": "stagefx.figures.table",
    "ListeningSet": "stagefx.report.listening.tracks",
    "Margin": "stagefx.audition.margin",
    "Measurement": "stagefx.bench.measure.measurement",
    "OutputError": "stagefx.errors",
    "Prepared": "stagefx.blind.pack.preparation",
    "QuestionError": "stagefx.report.question.file",
    "RenderReport": "stagefx.render.report",
    "Simulation": "stagefx.blind.simulation",
    "Stage": "stagefx.circuit.description.stage",
    "StageError": "stagefx.errors",
    "StagefxError": "stagefx.errors",
    "Survey": "stagefx.survey.survey",
    "UnitError": "stagefx.errors",
    "answer_into": "stagefx.report.answer.folder",
    "answer_question": "stagefx.report.answer.answer",
    "attribute": "stagefx.render.attribution",
    "compare_files": "stagefx.audition.shortcuts",
    "compare_stages": "stagefx.audition.shortcuts",
    "deliver_files": "stagefx.audition.shortcuts",
    "deliver_stages": "stagefx.audition.shortcuts",
    "device_class": "stagefx.circuit.description.devices",
    "device_classes": "stagefx.circuit.description.devices",
    "effect_kinds": "stagefx.effects",
    "expect": "stagefx.bench.expectation",
    "fit_stage": "stagefx.bench.fit.adjust",
    "integrated_loudness": "stagefx.dsp.loudness",
    "listening_set_of_files": "stagefx.report.listening.listening_set",
    "listening_set_of_stages": "stagefx.report.listening.listening_set",
    "load_readings": "stagefx.bench.readings.files",
    "load_round": "stagefx.bench.fit.rounds",
    "load_stage": "stagefx.circuit.description.files",
    "load_trace": "stagefx.bench.scope.tables",
    "margin": "stagefx.audition.shortcuts",
    "measure_files": "stagefx.bench.measure.files",
    "open_audio": "stagefx.io.files",
    "plan": "stagefx.blind.planning",
    "prepare_blind": "stagefx.report.listening.blind_page.pack",
    "read_scope": "stagefx.bench.scope.interpretation",
    "read_stage": "stagefx.circuit.description.files",
    "ready_made": "stagefx.circuit.description.files",
    "render_file": "stagefx.render.rendering",
    "samples_folder": "stagefx.samples",
    "score_files": "stagefx.blind.scoring",
    "simulate_plan": "stagefx.blind.simulation",
    "stage_as_toml": "stagefx.circuit.description.files",
    "stage_from_readings": "stagefx.bench.readings.derivation",
    "stage_schema": "stagefx.circuit.description.files",
    "survey_folder": "stagefx.survey.survey",
    "test_signals": "stagefx.bench.signals.plan",
    "compute_figures": "stagefx.figures.table",
    "write_signals": "stagefx.bench.signals.writing",
}

__all__ = ["__version__", *_HOMES]  # noqa: PLE0604 (the table holds names)

if TYPE_CHECKING:  # the same names once more, for type checkers; a test holds the two together
    from stagefx.audition.audition import Audition as Audition
    from stagefx.audition.comparison import Comparison as Comparison
    from stagefx.audition.delivery import Delivery as Delivery
    from stagefx.audition.margin import Margin as Margin
    from stagefx.audition.shortcuts import (
        compare_files as compare_files,
        compare_stages as compare_stages,
        deliver_files as deliver_files,
        deliver_stages as deliver_stages,
        margin as margin,
    )
    from stagefx.bench.expectation import expect as expect
    from stagefx.bench.fit.adjust import fit_stage as fit_stage
    from stagefx.bench.fit.rounds import load_round as load_round
    from stagefx.bench.measure.files import measure_files as measure_files
    from stagefx.bench.measure.measurement import Measurement as Measurement
    from stagefx.bench.readings.derivation import stage_from_readings as stage_from_readings
    from stagefx.bench.readings.files import load_readings as load_readings
    from stagefx.bench.scope.interpretation import read_scope as read_scope
    from stagefx.bench.scope.tables import load_trace as load_trace
    from stagefx.bench.signals.plan import test_signals as test_signals
    from stagefx.bench.signals.writing import write_signals as write_signals
    from stagefx.blind.pack.preparation import Prepared as Prepared
    from stagefx.blind.planning import BlindPlan as BlindPlan, plan as plan
    from stagefx.blind.result import BlindScore as BlindScore
    from stagefx.blind.scoring import score_files as score_files
    from stagefx.blind.simulation import Simulation as Simulation, simulate_plan as simulate_plan
    from stagefx.circuit.description.devices import (
        device_class as device_class,
        device_classes as device_classes,
    )
    from stagefx.circuit.description.files import (
        load_stage as load_stage,
        read_stage as read_stage,
        ready_made as ready_made,
        stage_as_toml as stage_as_toml,
        stage_schema as stage_schema,
    )
    from stagefx.circuit.description.stage import Stage as Stage
    from stagefx.dsp.loudness import integrated_loudness as integrated_loudness
    from stagefx.effects import effect_kinds as effect_kinds
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
    from stagefx.figures.table import Figures as Figures, compute_figures as compute_figures
    from stagefx.io.files import open_audio as open_audio
    from stagefx.io.writing import AudioWriter as AudioWriter
    from stagefx.render.attribution import Attribution as Attribution, attribute as attribute
    from stagefx.render.rendering import render_file as render_file
    from stagefx.render.report import RenderReport as RenderReport
    from stagefx.report.answer.answer import answer_question as answer_question
    from stagefx.report.answer.folder import answer_into as answer_into
    from stagefx.report.answer.results import Answer as Answer
    from stagefx.report.listening.blind_page.pack import prepare_blind as prepare_blind
    from stagefx.report.listening.listening_set import (
        listening_set_of_files as listening_set_of_files,
        listening_set_of_stages as listening_set_of_stages,
    )
    from stagefx.report.listening.tracks import ListeningSet as ListeningSet
    from stagefx.report.question.file import QuestionError as QuestionError
    from stagefx.samples import samples_folder as samples_folder
    from stagefx.survey.survey import Survey as Survey, survey_folder as survey_folder

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
