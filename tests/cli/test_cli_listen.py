"""`stagefx listen`: level-matched files, a difference turned up but capped, exaggerations."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
import soundfile

import stagefx
from stagefx.audition.audition import Audition
from stagefx.circuit.description.files import load_stage
from stagefx.render.rendering import render_file
from stagefx.report.listening.exaggeration import exaggerate
from stagefx.report.listening.levels import turned_up
from stagefx.samples import samples_folder
from tests.cli.running import complaint, one_object, run_here
from tests.cli.short_music import RATE_HZ, short_music

STAGES = samples_folder() / "stages"
BOARDS = STAGES / "stock.toml", STAGES / "passive-box.toml"
STEP_24, STEP_16 = 2.0**-23, 2.0**-15


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A set of two stages, and what the command said of it."""
    home = tmp_path_factory.mktemp("listen")
    music = short_music(home / "drums.wav")
    done = run_here("listen", *BOARDS, music, "set", "--passage", "0.5-2.5", "--json", cwd=home)
    assert done.returncode == 0, done.stderr
    (home / "said.json").write_text(done.stdout, encoding="utf-8")
    return home


def sound(folder: Path, file: str) -> np.ndarray:
    samples, rate_hz = soundfile.read(folder / file, always_2d=True)
    assert rate_hz == RATE_HZ
    return np.asarray(samples)


def told(made: Path) -> dict:  # type: ignore[type-arg]
    return one_object((made / "said.json").read_text(encoding="utf-8"))


def files(made: Path, *kinds: str) -> list[str]:
    return [track["file"] for track in told(made)["tracks"] if track["kind"] in kinds]


def test_python_makes_the_same_set(made: Path, tmp_path: Path) -> None:
    stages = [stagefx.load_stage(board) for board in BOARDS]
    found = stagefx.listening_set_of_stages(
        stages[0], stages[1], made / "drums.wav", tmp_path / "set", passage=(0.5, 2.5)
    )
    said = told(made)
    assert json.loads(json.dumps({**found.as_json(), "folder": "set"})) == said
    for name in (said["page"], *(track["file"] for track in said["tracks"])):
        assert (tmp_path / "set" / name).read_bytes() == (made / "set" / name).read_bytes()


def test_all_that_is_told_is_there_and_nothing_else(made: Path) -> None:
    said = told(made)
    wanted = {track["file"] for track in said["tracks"]}
    wanted |= {said["page"], "listening-set.json", *said["cards"]}
    there = {str(p.relative_to(made / "set")) for p in (made / "set").rglob("*") if p.is_file()}
    assert there == wanted
    kept = json.loads((made / "set" / "listening-set.json").read_text(encoding="utf-8"))
    assert kept == {key: value for key, value in said.items() if key != "folder"}
    assert [p.name for p in made.iterdir() if p.name.startswith(".")] == []


def test_what_is_switched_between_is_level_matched_to_a_fiftieth_of_a_decibel(made: Path) -> None:
    meter = pyloudnorm.Meter(RATE_HZ)
    played = files(made, "baseline", "change", "music", "exaggerated")
    assert len(played) >= 5
    levels = [meter.integrated_loudness(sound(made / "set", file)) for file in played]
    assert max(levels) - min(levels) <= 0.02
    for file in played:
        samples = sound(made / "set", file)
        assert np.abs(samples).max() < 1.0
        assert np.abs(samples[0]).max() <= 2 * STEP_16  # faded


def test_the_difference_is_change_less_baseline(made: Path) -> None:
    baseline, change, difference = (
        sound(made / "set", *files(made, kind)) for kind in ("baseline", "change", "difference")
    )
    assert np.abs(change - baseline).max() > 1e-3
    # each of the three is rounded with a dither of two steps at most
    assert np.abs(change - baseline - difference).max() <= 6.0 * STEP_24


def test_the_difference_is_turned_up_by_what_is_said_and_capped(made: Path) -> None:
    gain = 10.0 ** (told(made)["turned_up_db"] / 20.0)
    baseline, difference, up = (
        sound(made / "set", *files(made, kind)) for kind in ("baseline", "difference", "turned up")
    )
    assert np.abs(up - gain * difference).max() <= 2.0 * STEP_16 + 2.0 * gain * STEP_24
    assert f"turned up {told(made)['turned_up_db']:.0f} dB" in " ".join(
        track["title"] for track in told(made)["tracks"]
    )
    music_rms = np.sqrt(np.mean(np.square(baseline), axis=0)).max()
    assert loudest_rms(up) <= min(music_rms, 0.1 / np.sqrt(2.0)) * 1.001  # -20 dBFS of a sine
    assert np.abs(up).max() <= np.abs(baseline).max()


def loudest_rms(samples: np.ndarray) -> float:
    """Of every 0.4 s, wherever it begins, and of every channel."""
    frames = round(0.4 * RATE_HZ)
    sums = np.cumsum(np.pad(np.square(samples), ((1, 0), (0, 0))), axis=0)
    return float(np.sqrt((sums[frames:] - sums[:-frames]).max() / frames))


@pytest.mark.parametrize("music_peak", [0.05, 0.9])
@pytest.mark.parametrize("kind", ["hiss", "click", "treble", "rumble", "loud"])
def test_no_kind_of_difference_gets_louder_than_the_music(kind: str, music_peak: float) -> None:
    chance = np.random.default_rng(4)
    frames = 2 * RATE_HZ
    hz = np.fft.rfftfreq(frames, 1.0 / RATE_HZ)[:, None]
    spectrum = np.fft.rfft(chance.standard_normal((frames, 2)), axis=0) / np.maximum(hz, 60.0)
    music = np.fft.irfft(spectrum, frames, axis=0)  # mostly bass
    music *= music_peak / np.abs(music).max()
    made = {
        "hiss": 1e-5 * chance.standard_normal((frames, 2)),
        "click": np.zeros((frames, 2)),
        "treble": 1e-4 * np.diff(chance.standard_normal((frames + 1, 2)), axis=0),
        "rumble": 1e-4 * np.sin(np.arange(2 * frames).reshape(frames, 2) * 0.00214),  # 30 Hz
        "loud": 0.5 * chance.standard_normal((frames, 2)),
    }[kind]
    if kind == "click":
        made[5000, 1] = 1e-3
    found = turned_up(made, music, RATE_HZ)
    assert found is not None
    assert found.gain_db == round(found.gain_db)
    assert np.array_equal(found.samples, 10.0 ** (found.gain_db / 20.0) * made)
    music_rms = float(np.sqrt(np.mean(np.square(music), axis=0)).max())
    assert loudest_rms(found.samples) <= min(music_rms, 0.1 / np.sqrt(2.0)) * 1.0001
    assert np.abs(found.samples).max() <= np.abs(music).max()
    meter = pyloudnorm.Meter(RATE_HZ)
    blocks = [
        meter.integrated_loudness(found.samples[start : start + round(0.4 * RATE_HZ)])
        for start in range(0, frames - round(0.4 * RATE_HZ), round(0.1 * RATE_HZ))
    ]
    assert max(blocks) <= meter.integrated_loudness(music) + 0.01
    assert (found.gain_db < 0.0) == (kind == "loud")


def test_nothing_is_turned_up_where_nothing_is_left() -> None:
    music = 0.1 * np.random.default_rng(1).standard_normal((RATE_HZ, 1))
    assert turned_up(0.0 * music, music, RATE_HZ) is None


def test_an_exaggeration_is_what_render_gives_for_that_effect_and_factor(made: Path) -> None:
    """The knobs stand where the whole piece, not the quiet passage, puts them."""
    stages = load_stage(BOARDS[0]), load_stage(BOARDS[1])
    music = sound(made, "drums.wav")
    music[: 2 * RATE_HZ] *= 0.1
    soundfile.write(made / "uneven.wav", music, RATE_HZ, "PCM_24")
    with Audition.of_stages(*stages, made / "uneven.wav") as audition:
        found, silent, _ = exaggerate(audition, (0.3, 1.3))
    assert {one.effect for one in found} == {"loading", "bandwidth", "noise"}
    assert {one.effect for one in silent} == {"slew", "clip"}
    for one in found:
        (stage,) = (stage for stage in stages if stage.name == one.stage)
        out = made / f"{one.effect}.wav"
        times = {one.effect: one.times}
        render_file(stage, made / "uneven.wav", out, only=[one.effect], times=times, bits="float")
        start, stop = round(0.3 * RATE_HZ), round(1.3 * RATE_HZ)
        wanted = sound(made, out.name)[start:stop]
        # the passage begins with the file, so both hold the same but for its end
        assert np.abs(one.samples - wanted).max() < 1e-6
    by_name = {one.effect: one for one in found}
    assert by_name["loading"].stage == stages[1].name  # the passive box loses treble
    assert by_name["bandwidth"].stage == stages[0].name  # it has no amplifier at all
    assert by_name["bandwidth"].times > 1.0


def test_people_are_told_what_it_is_and_to_take_care(made: Path) -> None:
    done = run_here(
        "listen", made / "drums.wav", made / "bent.wav", "never", cwd=made
    )  # not there yet
    assert complaint(done).startswith(f"stagefx: there is no file {made / 'bent.wav'}")
    music = sound(made, "drums.wav")
    soundfile.write(made / "bent.wav", 0.5 * (music + 0.05 * music**3), RATE_HZ, "PCM_24")
    for folder in ("one", "two"):
        done = run_here("listen", "drums.wav", "bent.wav", folder, "--passage", "0.5-2.0", cwd=made)
        assert done.returncode == 0, done.stderr
    said = " ".join(done.stdout.split())
    assert "03-difference.wav" in said
    assert "volume capped" in said
    assert "85 dBA is the usual limit" in said
    assert "a lesson, not evidence" in said
    assert "exaggerated" not in said  # of files no effect is known
    names = sorted(p.relative_to(made / "one") for p in (made / "one").rglob("*") if p.is_file())
    for name in names:  # the same request gives the same bytes
        assert (made / "one" / name).read_bytes() == (made / "two" / name).read_bytes(), name


def test_the_page_holds_all_it_needs(made: Path) -> None:
    page = (made / "set" / "listen.html").read_text(encoding="utf-8")
    assert page.count("ZkxhQ") == len(told(made)["tracks"])  # "fLaC" in base64
    assert "default-src 'none'" in page
    assert "http://" not in page
    assert "https://" not in page
    assert "This is not what the stages do" in page


def test_a_stage_s_fault_comes_first(made: Path) -> None:
    done = run_here(
        "listen", "wire", "too-hot", "drums.wav", "hot", "--passage", "0.5-1.5", "--json", cwd=made
    )
    assert done.returncode == 0, done.stderr
    said = one_object(done.stdout)
    (fault,) = (one for one in said["remarks"] if one.startswith("Fault: high gain, hot source: "))
    page = (made / "hot" / "listen.html").read_text(encoding="utf-8")
    assert page.index(fault.split(": ")[-1][:30]) < page.index("Switch between the two")
    assert [one["effect"] for one in said["tracks"] if one["effect"]].count("clip") == 1


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["drums.wav", "drums.wav", "x"], "the two versions are the same"),
        (["line-stage", "wire", "x"], "say what music to play through it (MUSIC before FOLDER)"),
        (["line-stage", "wire", "drums.wav", "more.wav", "x"], "give FIRST, SECOND, one piece"),
        (["line-stage", "wire", "-", "x"], "give a file, not '-'"),
        (["line-stage", "wire", "none.wav", "x"], "there is no file none.wav"),
        (["line-stage", "wire", "drums.wav", "set"], "holds something already"),
        (["line-stage", "wire", "drums.wav", ".", "--force"], "lies in ."),
        (["line-stage", "wire", "drums.wav", "x", "--passage", "2-9"], "no passage from 2 s"),
        (["line-stage", "wire", "drums.wav", "x", "--passage", "1-1.1"], "0.4 s"),
        (["line-stage", "wire", "drums.wav", "no/x"], "there is no folder 'no'"),
        (["line-stage", "line-stag", "drums.wav", "x"], "line-stage"),
    ],
)
def test_what_cannot_be_used_leaves_nothing(arguments: list[str], says: str, made: Path) -> None:
    before = {p: p.stat().st_mtime_ns for p in made.rglob("*")}
    assert says in complaint(run_here("listen", *arguments, cwd=made))
    assert {p: p.stat().st_mtime_ns for p in made.rglob("*")} == before
