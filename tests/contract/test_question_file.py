"""Question files: what is read, what is refused, and in which words."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

import stagefx
from stagefx.circuit.description.files import load_stage, with_values
from stagefx.errors import StagefxError
from stagefx.report.question.file import QuestionError, read_question, with_overrides
from stagefx.report.question.inputs import ask
from stagefx.samples import samples_folder

MUSIC = samples_folder() / "music"
STAGES = samples_folder() / "stages"
LEAST = 'ask = "Is it heard?"\nbaseline = "line-stage"\nchange = "line-stage-quick"\n'


def written(folder: Path, text: str) -> Path:
    place = folder / "question.toml"
    place.write_text(text, encoding="utf-8")
    return place


def test_all_keys_of_the_contract_are_read() -> None:
    question = read_question(
        LEAST
        + 'why = "asked"\nlistening_level = 75\nmusic = ["a.flac", "b.flac"]\n'
        + 'passage = "12.0-22.0"\n[blind]\nkey = "k.json"\nreplies = ["r.txt"]\n'
        + '[context.listening]\ndistance = "2 m"\n[context.source]\nlevel = "2 V rms"\n'
        + '[context.load]\ncapacitance = "1 nF"\n'
    )
    assert question.music == ("a.flac", "b.flac")
    assert question.passage == (12.0, 22.0)
    assert question.listening_level == 75.0
    assert question.blind is not None
    assert set(question.context) == {"listening", "source", "load"}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("ask = ", "not TOML"),
        ('ask = "?"\nbaseline = "wire"', "change is missing"),
        (LEAST + 'musik = "a.flac"', "unknown key 'musik'; did you mean 'music'?"),
        (LEAST + '[blind]\nkey = "k"\nreply = "r"', "[blind] unknown key 'reply'; did you mean"),
        (LEAST + '[context.lod]\nresistance = "1 ohm"', "unknown table 'lod'; did you mean 'load'"),
        (LEAST + 'passage = "soon"', 'passage: two times in seconds, like "12.0-22.0"'),
        (LEAST + "listening_level = 200", "listening_level: it must be less than or equal to 120"),
        (LEAST + 'figures = ["gain"]', "unknown figure 'gain'; did you mean 'gain_db'?"),
        (LEAST + 'level_by = "ear"', "level_by: it must be 'gain', 'loudness' or 'nothing'"),
        ('ask = "?"\nbaseline = "wire"\nchange = "wire"', "baseline and change are both 'wire'"),
        ('ask = ""\nbaseline = "wire"\nchange = "x"', "ask"),
    ],
)
def test_what_cannot_be_a_question_is_told(text: str, said: str) -> None:
    with pytest.raises(QuestionError) as told:
        read_question(text, where="q.toml")
    assert str(told.value).startswith("q.toml: ")
    assert said in str(told.value)
    assert "\n" not in str(told.value)


def music(name: str = "trio.flac") -> str:
    return f'music = "{MUSIC / name}"\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (LEAST, "music is missing; two stages are compared with music"),
        (LEAST + 'music = "none.flac"', "none.flac' is not there"),
        (LEAST.replace("line-stage-quick", "copy.toml") + music(), "same stage under two names"),
        (LEAST.replace("line-stage-quick", "none.toml") + music(), "none.toml"),
        (LEAST.replace("line-stage-quick", "lin-stage") + music(), "did you mean 'line-stage'?"),
        (LEAST.replace("line-stage-quick", "x.wav") + music(), "'x.wav' is an audio file and"),
        (LEAST + music() + '[blind]\nkey = "k.json"\nreplies = "r.txt"', "[blind]"),
        (
            LEAST + music() + '[context.load]\nresistence = "1 ohm"',
            "unknown key 'resistence'; did you mean 'resistance'?",
        ),
        (LEAST + music() + '[context.load]\nresistance = "1 V"', "resistance"),
    ],
)
def test_what_a_question_names_must_be_there(text: str, said: str, tmp_path: Path) -> None:
    catalogue = Path(stagefx.__file__).parent / "circuit" / "catalogue" / "stages"
    shutil.copy(catalogue / "line-stage.toml", tmp_path / "copy.toml")
    with pytest.raises(StagefxError) as told:
        ask(written(tmp_path, text))
    assert said in str(told.value)


def test_audio_files_need_no_music_and_take_no_context(tmp_path: Path) -> None:
    for name in ("one.flac", "two.flac"):
        shutil.copy(MUSIC / "trio.flac", tmp_path / name)
    files = 'ask = "?"\nbaseline = "one.flac"\nchange = "two.flac"\n'
    found = ask(written(tmp_path, files))
    assert [path.name for path in found.files] == ["one.flac", "two.flac"]
    assert found.stages == ()
    with pytest.raises(QuestionError, match="music has no place"):
        ask(written(tmp_path, files + music()))
    with pytest.raises(QuestionError, match="audio files hold no stage"):
        ask(written(tmp_path, files + '[context.load]\nresistance = "1 kohm"'))
    (tmp_path / "two.flac").unlink()
    (tmp_path / "two.flac").hardlink_to(tmp_path / "one.flac")
    with pytest.raises(QuestionError, match="are the same file"):
        ask(written(tmp_path, files))


def test_files_are_looked_for_beside_the_question(tmp_path: Path) -> None:
    shutil.copy(STAGES / "stock.toml", tmp_path)
    shutil.copy(STAGES / "quick.toml", tmp_path)
    shutil.copy(MUSIC / "trio.flac", tmp_path)
    text = 'ask = "?"\nbaseline = "stock.toml"\nchange = "quick.toml"\nmusic = "trio.flac"\n'
    found = ask(written(tmp_path, text))
    assert [stage.name for stage in found.stages] == ["stock", "quick"]
    assert [path.name for path in found.inputs] == [
        "question.toml", "stock.toml", "quick.toml", "trio.flac",
    ]  # fmt: skip


def test_a_viewer_s_numbers_are_in_both_stages(tmp_path: Path) -> None:
    place = written(tmp_path, LEAST + music() + '[context.load]\nresistance = "47 kohm"\n')
    given = ['load.capacitance="1 nF"', "source.resistance=10 kohm", "listening.speakers=1"]
    for stage in ask(place, overrides=given).stages:
        assert stage.load is not None
        assert stage.load.resistance is not None
        assert stage.load.resistance.value == 47e3
        assert stage.load.capacitance is not None
        assert stage.load.capacitance.value == 1e-9
        assert stage.source.resistance.value == 10e3
        assert stage.listening is not None
        assert stage.listening.speakers == 1


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("load", "write TABLE.KEY=VALUE"),
        ("load.capacitance", "write TABLE.KEY=VALUE"),
        ("load.capacitance=", "write TABLE.KEY=VALUE"),
        ("lod.capacitance=1 nF", "--with: unknown table 'lod'; did you mean 'load'?"),
        ("listening_level=loud", "dB"),
    ],
)
def test_numbers_that_cannot_be_are_told(given: str, said: str) -> None:
    with pytest.raises(StagefxError) as told:
        with_overrides(read_question(LEAST), [given])
    assert said in str(told.value)


def test_a_cable_s_capacitance_takes_the_place_of_its_length() -> None:
    stage = with_values(
        load_stage(STAGES / "stock.toml"), {"output_cable": {"capacitance": "3 nF"}}
    )
    assert stage.output_cable is not None
    assert stage.output_cable.total.value == 3e-9


def test_a_knob_s_position_takes_the_place_of_its_setting() -> None:
    stage = with_values(load_stage(STAGES / "stock.toml"), {"volume": {"position": 0.5}})
    assert stage.volume is not None
    assert stage.volume.position == 0.5
    assert stage.volume.setting is None


@pytest.mark.parametrize("key", ["baseline", "change", "music"])
@pytest.mark.parametrize(
    ("name", "said"),
    [(r"a\u0000.flac", "holds a zero character"), (300 * "a", "is longer than the name"),
     (200 * "é", "is longer than the name"), (800 * "abcde/", "is longer than the name")],
    ids=["zero", "long name", "long name in bytes", "long path"],
)  # fmt: skip
def test_a_name_that_no_file_can_have(key: str, name: str, said: str) -> None:
    tables = {"baseline": "line-stage", "change": "wire", "music": "a.flac"} | {key: name}
    lines = [f'{name} = "{value}"' for name, value in tables.items()]
    with pytest.raises(QuestionError, match=f"{key}.*it {said}"):
        read_question("\n".join(['ask = "Why?"', *lines]))


BARE = """[source]
level = "2 V rms"
[volume]
resistance = "10 kohm"
position = 0.5
[amplifier]
topology = "follower"
"""


@pytest.mark.parametrize(
    ("figures", "stage", "asked_for"),
    [
        ("", BARE.replace('level = "2 V rms"', 'resistance = "100 ohm"'), "[source] level"),
        (
            "noise_spl_seat_a_db",
            BARE,
            "[listening] amplifier_gain, speaker_sensitivity and distance of",
        ),
        ("clip_high_v", BARE, "[supply] positive and negative of"),
        ("slew_available_v_per_us", BARE, "[amplifier] slew_rise of"),
        ("output_dc_v", BARE, "[amplifier] offset_voltage and bias_current of"),
        (
            "regulator_margin_v",
            BARE + '[supply]\npositive = "15 V"\nnegative = "-15 V"',
            "[supply] reservoir, load_current, mains_frequency and secondary of",
        ),
        (
            "output_dc_v",
            BARE.replace("position = 0.5", "position = 0.5\nplace = 'after'")
            + 'device = "early bipolar"\n[input]\ncoupling = "1 uF"',
            "[input] resistance of",
        ),
    ],
)
def test_what_a_question_needs_is_asked_for_by_name(
    tmp_path: Path, figures: str, stage: str, asked_for: str
) -> None:
    (tmp_path / "bare.toml").write_text(stage, "utf-8")
    shutil.copy(MUSIC / "drums.flac", tmp_path)
    wanted = f'figures = ["{figures}"]\n' if figures else ""
    text = (
        f'ask = "?"\nbaseline = "line-stage"\nchange = "bare.toml"\nmusic = "drums.flac"\n{wanted}'
    )
    with pytest.raises(QuestionError) as told:
        ask(written(tmp_path, text))
    assert f"the question needs {asked_for}" in str(told.value)
    assert "'bare.toml'" in str(told.value)


def test_a_figure_that_a_stage_cannot_have_is_not_asked_for(tmp_path: Path) -> None:
    """A passive box and a piece of wire have no slew rate and no direct voltage."""
    shutil.copy(MUSIC / "drums.flac", tmp_path)
    text = 'ask = "?"\nbaseline = "wire"\nchange = "passive-control"\nmusic = "drums.flac"\n'
    text += 'figures = ["slew_available_v_per_us", "output_dc_v", "noise_spl_seat_a_db"]\n'
    assert ask(written(tmp_path, text)).stages
