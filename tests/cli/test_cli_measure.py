"""`stagefx bench signals` and `stagefx bench measure`."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from stagefx.bench.measure.saved import load_measurement
from stagefx.bench.signals.plan import signal_named
from tests.cli.running import complaint, loaded_modules, one_object, run_here

RATE = 44100
NAMES = ("01-level-1khz", "05-two-tone-60hz-7khz", "11-silence")


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Signals, takes of some of them through a bent stage, and a loopback."""
    home = tmp_path_factory.mktemp("round")
    done = run_here("bench", "signals", "signals", "--rate", str(RATE), cwd=home)
    assert done.returncode == 0, done.stderr
    rng = np.random.default_rng(1)
    for folder, bend in (("takes", 0.01), ("loopback", 0.0)):
        (home / folder).mkdir()
        for name in NAMES:
            samples, rate = soundfile.read(home / "signals" / f"{name}.wav")
            late = np.pad(samples, ((3000, 500), (0, 0)))
            heard = 0.5 * (late + bend * late**2) + 1e-5 * rng.standard_normal(late.shape)
            soundfile.write(home / folder / f"{name}.wav", heard, rate, subtype="PCM_24")
    return home


def test_signals_are_listed_with_their_purpose_and_what_a_rate_cannot_do(tmp_path: Path) -> None:
    done = run_here("bench", "signals", "mine", "--rate", "88200", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    text = " ".join(done.stdout.split())
    assert "14 test signals for 88.2 kHz" in text
    assert "11-silence" in text
    assert "keeps its partials up to 34.65 kHz" in text
    assert "Unplug the loudspeakers" in text
    assert len(list((tmp_path / "mine").iterdir())) == 15


def test_signals_are_never_written_over(home: Path) -> None:
    assert "holds something already" in complaint(run_here("bench", "signals", "signals", cwd=home))


def test_a_rate_that_is_not_made_is_refused_and_leaves_nothing(tmp_path: Path) -> None:
    done = run_here("bench", "signals", "mine", "--rate", "22050", cwd=tmp_path)
    assert "choose one of 44100" in complaint(done)
    assert list(tmp_path.iterdir()) == []


def test_signals_as_json(tmp_path: Path) -> None:
    done = run_here("bench", "signals", "mine", "--rate", str(RATE), "--json", cwd=tmp_path)
    told = one_object(done.stdout)
    assert told["rate_hz"] == RATE
    assert {row["file"] for row in told["signals"]} | {told["sheet"]} == {
        path.name for path in (tmp_path / "mine").iterdir()
    }


def test_a_folder_is_measured_with_its_loopback_beside(home: Path) -> None:
    done = run_here(
        "bench", "measure", "signals", "takes", "--loopback", "loopback",
        "--played-full-scale", "2", "--captured-full-scale", "4 V rms",
        cwd=home,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    text = " ".join(done.stdout.split())
    # half the digits, of twice the volts: a gain of 1
    assert "gain 0.000 dB" in text
    assert "in 502 mV rms" in text
    assert "out 502 mV rms" in text
    # IEC 60268-3: twice 0.01 times the bass tone's peak, 4/5 of 0.891
    assert "60 Hz on 7 kHz, 2nd order 1.4 %" in text
    assert "not recorded, so not measured: 02-sweep".capitalize() in text
    assert "No loopback was given" not in text
    assert max(len(line) for line in done.stdout.splitlines()) <= 80


def test_one_file_gives_what_it_can(home: Path) -> None:
    done = run_here("bench", "measure", "signals/11-silence.wav", "takes/11-silence.wav", cwd=home)
    assert "Measured with 11-silence, left channel" in done.stdout
    assert "A-weighted" in done.stdout
    assert "Distortion" not in done.stdout
    assert "No loopback was given" in " ".join(done.stdout.split())


def test_a_measurement_is_kept_and_read_back(home: Path, tmp_path: Path) -> None:
    place = tmp_path / "m.json"
    arguments = ("bench", "measure", home / "signals", home / "takes", "--save", place, "--json")
    told = one_object(run_here(*arguments, cwd=tmp_path).stdout)
    kept = load_measurement(place)
    assert kept.signals == NAMES
    assert told["intermodulation"]["modulation_d2"]["percent"] == (
        kept.intermodulation["modulation_d2"].percent
    )
    assert set(told) >= {
        "made_by", "levels", "response", "harmonics", "intermodulation", "noise", "clip", "slew",
        "balance_db", "crosstalk", "floor",
    }  # fmt: skip
    assert told["made_by"] == "bench measure"
    assert "--force" in complaint(run_here(*arguments, cwd=tmp_path))


def test_what_is_wrong_is_said_before_any_number(home: Path, tmp_path: Path) -> None:
    samples = signal_named("01-level-1khz", RATE).samples()
    soundfile.write(tmp_path / "take.wav", (8.0 * samples).clip(-1, 1), RATE, subtype="PCM_24")
    done = run_here(
        "bench", "measure", home / "signals" / "01-level-1khz.wav", "take.wav", cwd=tmp_path
    )
    lines = done.stdout.splitlines()
    assert lines[2] == "First, look at the recordings again"
    assert "clipped by the recorder" in lines[3]


def test_a_picture_is_drawn(home: Path, tmp_path: Path) -> None:
    done = run_here(
        "bench", "measure", home / "signals" / "11-silence.wav", home / "takes" / "11-silence.wav",
        "--plot", "noise.png", cwd=tmp_path,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "noise.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("signals/nix.wav", "takes/11-silence.wav"), "no file"),
        (("signals", "takes/11-silence.wav"), "give two files or two folders"),
        (("takes/11-silence.wav", "takes/11-silence.wav"), "no test signal"),
        (("signals", "takes", "--save", "m.txt"), "let it end in .json"),
        (("signals", "takes", "--captured-full-scale", "2 ohm"), "2 ohm"),
        (("signals", "takes", "--captured-full-scale", "-2"), "give the rms volts"),
        (("signals", "takes", "--plot", "m.bmp"), ".png"),
        (("signals", "takes", "--loopback", "signals/11-silence.wav"), "LOOPBACK a file"),
    ],
)
def test_what_cannot_be_measured_is_told_in_one_line(
    arguments: tuple[str, ...], said: str, home: Path
) -> None:
    before = sorted(home.rglob("*"))
    assert said in complaint(run_here("bench", "measure", *arguments, cwd=home))
    assert sorted(home.rglob("*")) == before


@pytest.mark.parametrize(
    "arguments",
    [
        ("bench", "measure", "--help"),
        ("bench", "signals", "--help"),
        ("bench", "measure", "a", "b"),
    ],
)
def test_help_and_errors_load_nothing_heavy(arguments: tuple[str, ...], tmp_path: Path) -> None:
    loaded = loaded_modules(*arguments, cwd=tmp_path)
    assert not {"numba", "scipy.signal", "librosa", "matplotlib"} & loaded
