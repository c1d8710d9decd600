"""An audition works each thing out once; a changed value shares all that does not depend on it."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable, Iterator
from io import TextIOWrapper
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

import stagefx.audition.coding
import stagefx.render.preparation
import stagefx.render.rendering
from stagefx.audition.audition import Audition
from stagefx.audition.captured import compare_captured
from stagefx.audition.shortcuts import (
    compare_files,
    compare_stages,
    deliver_stages,
    margin,
)
from stagefx.blind.pack.excerpts import excerpt_of_stages
from stagefx.circuit.description.files import load_stage, with_values
from stagefx.circuit.description.stage import Stage
from stagefx.errors import ComparisonError, StageError
from stagefx.io.decoding import Decoder
from stagefx.render.rendering import render_file
from stagefx.report.answer.answer import answer_question
from stagefx.report.listening.listening_set import listening_set_of_stages

SAMPLES = Path(__file__).parents[2] / "samples"
RATE_HZ = 44100
SECONDS = 14.0
"""Long enough that a passage has to be chosen."""
PASSAGE = (1.0, 3.0)


def stage(name: str, **values: dict[str, Any]) -> Stage:
    return with_values(load_stage(SAMPLES / "stages" / f"{name}.toml"), values)


def by_listening(name: str) -> Stage:
    """A knob that has to know the music's level, so the music is read before it is played."""
    return stage(name, volume={"setting": "listening"})


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home: Path = tmp_path_factory.mktemp("audition")
    music, _ = soundfile.read(SAMPLES / "music" / "drums.flac", frames=round(SECONDS * RATE_HZ))
    soundfile.write(home / "music.flac", music, RATE_HZ, "PCM_16")
    soundfile.write(home / "music.ogg", music, RATE_HZ)
    soundfile.write(home / "short.wav", music[: 6 * RATE_HZ], RATE_HZ, "PCM_24")
    for n, name in enumerate(("first", "second", "again", "alone")):
        noise = 1e-4 * np.random.default_rng(n).standard_normal(music.shape)
        soundfile.write(home / f"{name}.flac", music + noise, RATE_HZ, "PCM_24")
    for name in ("stock", "quick"):
        (home / f"{name}.toml").write_text((SAMPLES / "stages" / f"{name}.toml").read_text())
    for name, more in (("plain", ""), ("sent", "delivery = true\n")):
        (home / f"{name}.toml").write_text(
            'ask = "Is it heard?"\nbaseline = "stock.toml"\nchange = "quick.toml"\n'
            f'music = ["music.flac"]\n{more}[context.volume]\nsetting = "listening"\n'
        )
    return home


class Counted:
    """How often each file was decoded, in its own lengths; stages prepared and played in whole."""

    def __init__(self) -> None:
        self.frames: Counter[str] = Counter()
        self.prepared: Counter[str] = Counter()
        self.played: Counter[str] = Counter()

    def most_decoded(self, folder: Path) -> float:
        return max(
            frames / soundfile.info(place).frames
            for place, frames in self.frames.items()
            if Path(place).parent == folder.resolve()
        )


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> Counted:
    found = Counted()
    decode, running = Decoder._next, stagefx.render.rendering._Running.__init__
    nominal = stagefx.render.preparation.nominal

    def decoding(self: Decoder, block: Any) -> Any:
        found.frames[str(Path(f"/proc/self/fd/{self._file.fileno()}").readlink())] += len(block)
        return decode(self, block)

    def preparing(stage: Stage) -> Any:
        found.prepared[stage.name] += 1
        return nominal(stage)

    def playing(self: Any, job: Any, reader: Any, opened: Any) -> None:
        if reader.format.frames == round(SECONDS * RATE_HZ):  # the whole piece, no excerpt of it
            found.played[job.played.stage.name] += 1
        running(self, job, reader, opened)

    # one way of coding reads the music as often as eight do
    monkeypatch.setattr(stagefx.audition.coding, "CODINGS", stagefx.audition.coding.CODINGS[:1])
    monkeypatch.setattr(Decoder, "_next", decoding)
    monkeypatch.setattr(stagefx.render.preparation, "nominal", preparing)
    monkeypatch.setattr(stagefx.render.rendering._Running, "__init__", playing)
    return found


def pair() -> tuple[Stage, Stage]:
    return by_listening("stock"), by_listening("quick")


COMMANDS: dict[str, Callable[[Path], object]] = {
    "compare": lambda home: compare_stages(*pair(), home / "music.flac"),
    "compare, lossy": lambda home: compare_stages(*pair(), home / "music.ogg"),
    "compare, by loudness": lambda home: compare_stages(
        *pair(), home / "music.flac", level_by="loudness"
    ),
    "render, by loudness": lambda home: render_file(
        by_listening("stock"), home / "music.ogg", home / "out.wav", level_by="loudness", force=True
    ),
    "margin": lambda home: margin(by_listening("stock"), home / "music.flac"),
    "delivery": lambda home: deliver_stages(*pair(), home / "music.flac"),
    "pack": lambda home: excerpt_of_stages(pair(), home / "music.flac"),
    "answer": lambda home: answer_question(home / "plain.toml"),
    "answer and delivery": lambda home: answer_question(home / "sent.toml"),
}


DECODED = {"margin": 1.0, "compare, lossy": 1.0, "render, by loudness": 3.0}
"""Lengths of the music; else two: one for its level, one that is played through both stages."""


@pytest.mark.parametrize("name", COMMANDS)
def test_each_stage_is_prepared_and_rendered_once(
    name: str, folder: Path, counted: Counted
) -> None:
    COMMANDS[name](folder)
    assert set(counted.played.values()) == {1}
    assert set(counted.prepared.values()) == {1}
    assert counted.most_decoded(folder) <= DECODED.get(name, 2.0)


def test_a_listening_set_renders_once_what_it_compares(
    folder: Path, tmp_path: Path, counted: Counted
) -> None:
    """Beside short excerpts of single effects, each prepared for itself."""
    listening_set_of_stages(*pair(), folder / "music.flac", tmp_path / "set")
    assert set(counted.played.values()) == {1}
    assert counted.most_decoded(folder) <= 3.0


def test_files_are_decoded_at_most_three_times(folder: Path, counted: Counted) -> None:
    compare_files(folder / "music.flac", folder / "music.ogg")
    assert counted.most_decoded(folder) <= 3.0
    compare_captured(
        *(folder / f"{name}.flac" for name in ("first", "second")),
        repeat=folder / "again.flac",
        loopback=folder / "alone.flac",
    )
    assert counted.most_decoded(folder) <= 3.0


def test_a_follow_up_renders_what_changed_and_measures_the_music_no_more(
    folder: Path, counted: Counted
) -> None:
    answer_question(folder / "plain.toml", given=['load.capacitance="1 nF"'])
    assert counted.played == {"stock": 2, "quick": 2}  # with the number and without
    assert counted.most_decoded(folder) <= 3.0  # its level, both versions, both once more


VALUES = {
    "source.level": "1 V rms",
    "input_cable.length": "12 m",
    "volume.position": 0.4,
    "amplifier.slew_rise": "0.3 V/us",
    "supply.positive": "5 V",
    "output.resistance": "2 kohm",
    "output_cable.length": "30 m",
    "load.capacitance": "10 nF",
    "listening.room_noise": "15 dBA",
    "listening.distance": "1 m",
}


def fixed(name: str, **values: dict[str, Any]) -> Stage:
    """A knob that stays where it is, so that the value alone tells two stages apart."""
    return with_values(stage(name, volume={"position": 0.5}), values)


@pytest.fixture(scope="module")
def settled(folder: Path) -> Iterator[Audition]:
    with Audition.of_stages(fixed("stock"), fixed("quick"), folder / "short.wav") as audition:
        audition.compare(PASSAGE)
        yield audition


@pytest.mark.parametrize("key", VALUES)
def test_a_changed_value_is_as_if_it_had_always_been_so(
    key: str, settled: Audition, folder: Path
) -> None:
    """To the last bit of every number, whatever was shared."""
    changed = settled.with_value(key, VALUES[key])
    table, name = key.split(".")
    other = fixed("quick", **{table: {name: VALUES[key]}})
    with Audition.of_stages(fixed("stock"), other, folder / "short.wav") as fresh:
        wanted = fresh.compare(PASSAGE).as_json()
    assert changed.compare(PASSAGE).as_json() == wanted


@pytest.mark.parametrize("setting", [{"listening_level_db": 70.0}, {"room_dba": None}])
def test_another_seat_is_as_if_it_had_always_been_so(setting: dict[str, Any], folder: Path) -> None:
    with Audition.of_stages(*pair(), folder / "short.wav", **setting) as fresh:
        wanted = fresh.compare(PASSAGE).as_json()
    with Audition.of_stages(*pair(), folder / "short.wav") as audition:
        audition.compare(PASSAGE)
        assert audition.changed(**setting).compare(PASSAGE).as_json() == wanted


def test_what_does_not_sound_renders_nothing_anew(settled: Audition, counted: Counted) -> None:
    settled.with_value("listening.room_noise", "20 dBA", side="both").compare(PASSAGE)
    assert not counted.played


def test_one_changed_stage_leaves_the_other_as_it_is(settled: Audition, counted: Counted) -> None:
    settled.with_value("output_cable.length", "7 m").compare(PASSAGE)
    assert counted.prepared == {"quick": 1}


def test_music_on_standard_input_is_heard_like_a_file(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It can be read once only, and its level is wanted before it is played."""
    wanted = compare_stages(*pair(), folder / "short.wav", passage=PASSAGE)
    with (folder / "short.wav").open("rb") as file:
        monkeypatch.setattr("sys.stdin", TextIOWrapper(file))
        found = compare_stages(*pair(), "-", passage=PASSAGE)
        sys.stdin.detach()  # type: ignore[attr-defined]
    assert found.audibility == wanted.audibility


def test_the_files_go_with_the_audition_that_was_made_first(folder: Path) -> None:
    with Audition.of_stages(stage("stock"), stage("quick"), folder / "short.wav") as audition:
        with audition.open() as (one, _):
            place = Path(one.place)
        with audition.with_value("output_cable.length", "7 m"):
            pass
        assert place.is_file()
    assert not place.parent.exists()


def test_a_value_that_cannot_be_is_one_clear_error(settled: Audition, folder: Path) -> None:
    with pytest.raises(StageError, match="output_cable"):
        settled.with_value("output_cable.lenght", "7 m")
    with Audition.of_files(folder / "music.flac", folder / "music.flac") as files:
        with pytest.raises(ComparisonError, match="hold no stage"):
            files.with_value("output_cable.length", "7 m")
        with pytest.raises(ComparisonError, match="no cause"):
            files.margin()
