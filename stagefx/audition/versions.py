"""What an audition sets side by side: audio files, held audio, music through stages."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Hashable, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Protocol

import numpy as np

from stagefx.audition.steps import Steps
from stagefx.circuit.circuit import Circuit
from stagefx.circuit.description.files import stage_tables
from stagefx.circuit.description.stage import Stage
from stagefx.circuit.knob import ASSUMED_PROGRAMME_DB
from stagefx.dsp.levels import AWeightedMeter
from stagefx.effects.registry import BUILT_IN, effect_kinds
from stagefx.errors import ComparisonError
from stagefx.hearing.verdict import LevelBy
from stagefx.io.files import STANDARD_STREAM, AudioFormat, AudioReader, open_audio
from stagefx.io.prefetch import ahead
from stagefx.io.recording import Recording
from stagefx.io.writing import AudioWriter
from stagefx.render.preparation import Played, prepare, set_by_listening
from stagefx.render.rendering import Job, remarks_of, render_all
from stagefx.render.report import RenderReport
from stagefx.units import decibels

JUDGED_APART = ("noise", "hum")
"""Left out of what is compared: they are worked out band by band for rows of their own, and would
pass for response where the music has nothing."""

_BLOCK_FRAMES = 1 << 16
_FLOAT_HOLDS_BITS = 24
"""Whole steps of so many bits, and what lossy decoders give, are exact in single precision."""


class Version(Protocol):
    """One of two versions of a piece; equal keys mean equal samples, bit for bit."""

    @property
    def key(self) -> Hashable:
        """What its samples depend on."""

    @property
    def name(self) -> str:
        """For sentences."""

    def open(self) -> AbstractContextManager[Recording]:
        """The audio, to be read on one thread."""

    def level_db(self) -> float:
        """A-weighted level re a full-scale sine, over the blocks that count for loudness."""


class HeldVersion:
    """Audio that somebody else holds, or keeps open."""

    def __init__(self, recording: Recording, steps: Steps) -> None:
        self._recording, self._steps = recording, steps
        self.key: Hashable = ("held", id(recording))
        self.name = Path(recording.place).name

    def open(self) -> AbstractContextManager[Recording]:
        """The audio; where it is a file it stays its owner's to close."""
        return nullcontext(self._recording)

    def level_db(self) -> float:
        """Measured once."""
        return self._steps.once(("level", self.key), lambda: _level_db(self._recording))


class FileVersion:
    """An audio file as it is; a compressed one that is read often is decoded once, into a copy."""

    def __init__(self, place: str | Path, steps: Steps, *, often: bool = True) -> None:
        self.place, self._steps, self._often = place, steps, often
        self._is_stream = str(place) == STANDARD_STREAM
        self.name = "standard input" if self._is_stream else Path(place).name

    @cached_property
    def key(self) -> Hashable:
        """The file and its state."""
        if self._is_stream:
            return ("file", STANDARD_STREAM)
        try:
            found = Path(self.place).stat()
        except OSError:  # whoever opens it says why
            return ("file", str(self.place))
        return ("file", str(Path(self.place).resolve()), found.st_size, found.st_mtime_ns)

    def open(self) -> AudioReader:
        """The file, or its decoded copy."""
        reader = self._opened()
        if self._copy_key not in self._steps and not self._copied(reader):
            return reader
        with reader:
            return open_audio(self._copy(reader)[0], name=reader.place)

    def level_db(self) -> float:
        """Measured once, in the pass that makes the copy where there is one."""

        def work() -> float:
            with self._opened() as reader:
                if self._copy_key in self._steps or self._copied(reader):
                    return self._copy(reader)[1]
                return _level_db(reader)

        return self._steps.once(("level", self.key), work)

    @property
    def format(self) -> AudioFormat:
        """Rate, channels and length."""
        with self._opened() as reader:
            return reader.format

    def _copied(self, reader: AudioReader) -> bool:
        """Whether a copy pays: always of what cannot be read backwards, else if read often."""
        return reader.is_lossy or (self._often and _worth_a_copy(reader))

    @property
    def _copy_key(self) -> Hashable:
        return ("copy", self.key)

    def _copy(self, reader: AudioReader) -> tuple[Path, float]:
        """Where the decoded copy is, and the level."""

        def work() -> tuple[Path, float]:
            place, made = self._steps.new_file(), reader.format
            with AudioWriter(
                place, rate_hz=made.rate_hz, channels=made.channels, bits="float"
            ) as writer:
                return place, _level_db(reader, writer)

        return self._steps.once(self._copy_key, work)

    def _opened(self) -> AudioReader:
        if not self._is_stream:
            return open_audio(self.place)

        def work() -> Path:
            place = self._steps.new_file()
            with place.open("wb") as file:
                shutil.copyfileobj(sys.stdin.buffer, file, _BLOCK_FRAMES)
            return place

        return open_audio(self._steps.once(("stream", self.key), work), name=self.name)


@dataclass(frozen=True)
class Playing:
    """How music is played through stages: what its samples depend on beside stage and music."""

    listening_level_db: float
    level_by: LevelBy
    seed: int
    without: tuple[str, ...] = JUDGED_APART


@dataclass(frozen=True)
class _Sound:
    """A rendered version: its file, and what was found on the way."""

    place: Path
    report: RenderReport


class StageVersion:
    """Music through a stage: prepared once, rendered once, kept in floating point meanwhile."""

    def __init__(self, stage: Stage, music: FileVersion, playing: Playing, steps: Steps) -> None:
        self.stage, self.music, self.playing, self._steps = stage, music, playing, steps
        self.name = stage.name

    @cached_property
    def played(self) -> Played:
        """The stage prepared for the music."""
        programme_db = self.programme_db if set_by_listening(self.stage) else None
        key = ("played", _canonical(stage_tables(self.stage)), programme_db, self.playing)

        def work() -> Played:
            return prepare(
                self.stage,
                without=self.playing.without,
                seed=self.playing.seed,
                listening_level_db=self.playing.listening_level_db,
                programme_db=programme_db,
            )

        return self._steps.once(key, work)

    @property
    def programme_db(self) -> float:
        """Level of the music re a full-scale sine on all its channels."""
        level_db = self.music.level_db() - decibels(self.music.format.channels) / 2.0
        return level_db if np.isfinite(level_db) else ASSUMED_PROGRAMME_DB

    @property
    def circuit(self) -> Circuit:
        """The stage's circuit with its knob set."""
        return self.played.knob.circuit

    @cached_property
    def key(self) -> Hashable:
        """Music, playing, and of the stage what sounds: its listening chain but moves the knob."""
        tables = stage_tables(self.stage)
        if len(effect_kinds()) == len(BUILT_IN):  # another package's effect may depend on anything
            for silent in ("name", "notes", "listening"):
                tables.pop(silent, None)
            tables["volume"] = {**tables.get("volume", {}), "setting": None, "position": None}
        fixed = replace(self.playing, listening_level_db=0.0)
        knob = self.played.knob.position
        return ("sound", self.music.key, _canonical(tables), knob, fixed)

    @property
    def report(self) -> RenderReport:
        """What happened in the render; what there is to remark is this stage's own."""
        report = self._sound().report
        return replace(report, remarks=remarks_of(self.played, report.overs))

    def open(self) -> AudioReader:
        """The rendered music."""
        return open_audio(self._sound().place)

    def level_db(self) -> float:
        """Measured once."""

        def work() -> float:
            with self.open() as reader:
                return _level_db(reader)

        return self._steps.once(("level", self.key), work)

    def _sound(self) -> _Sound:
        render_versions([self], self._steps)
        return self._steps.once(self.key, _never)


def render_versions(versions: Sequence[StageVersion], steps: Steps) -> None:
    """Render all that are not rendered yet, of one piece of music, decoding it once."""
    missing = {one.key: one for one in versions if one.key not in steps}
    if not missing:
        return
    first = next(iter(missing.values()))
    with first.music.open() as reader:
        places = [steps.new_file() for _ in missing]
        jobs = [
            Job(one.played, place, level_by=one.playing.level_by, bits="float")
            for one, place in zip(missing.values(), places, strict=True)
        ]
        reports = render_all(jobs, reader)
    for key, place, report in zip(missing, places, reports, strict=True):
        steps.put(key, _Sound(place, report))


def version_of(given: str | Path | Recording, steps: Steps) -> Version:
    """A file, or audio that somebody else holds, as one side of an audition."""
    return FileVersion(given, steps) if isinstance(given, str | Path) else HeldVersion(given, steps)


def replaced(
    old: Version,
    new: Stage | Path | Version | None,
    steps: Steps,
    listening_level_db: float,
    level_by: LevelBy,
) -> Version:
    """What stands in the place of `old`: another stage, another file, or the same played anew."""
    if isinstance(new, Path):
        return FileVersion(new, steps)
    version = old if new is None or isinstance(new, Stage) else new
    if not isinstance(version, StageVersion):
        if isinstance(new, Stage):
            raise ComparisonError("audio files hold no stage that could be changed")
        return version
    stage = new if isinstance(new, Stage) else version.stage
    playing = replace(version.playing, listening_level_db=listening_level_db, level_by=level_by)
    return StageVersion(stage, version.music, playing, steps)


def _canonical(tables: object) -> str:
    return json.dumps(tables, sort_keys=True, default=str)


def _worth_a_copy(reader: AudioReader) -> bool:
    return reader.is_compressed and (reader.format.bits or 64) <= _FLOAT_HOLDS_BITS


def _level_db(recording: Recording, writer: AudioWriter | None = None) -> float:
    made = recording.format
    meter = AWeightedMeter(made.rate_hz, made.channels)
    starts = range(0, made.frames, _BLOCK_FRAMES)
    for block in ahead(
        recording.read(start, min(start + _BLOCK_FRAMES, made.frames)) for start in starts
    ):
        if writer is not None:
            writer.write(block)
        meter.add(block)
    return float(meter.level_db)


def _never() -> _Sound:
    raise AssertionError("rendered just now")
