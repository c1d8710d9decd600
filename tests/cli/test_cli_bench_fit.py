"""`stagefx bench expect` and `stagefx bench fit`."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from stagefx.circuit.description.files import load_stage, read_stage
from tests.cli.running import complaint, one_object, run_here
from tests.measured_on_paper import measured

STAGE = """
name = "desk"
[source]
level = "2 V rms"
[amplifier]
device = "early bipolar"
gain = 8.0   # printed on the box
[supply]
positive = "12 V"
negative = "-12 V"
[output]
resistance = "100 ohm"   # guessed
[load]
resistance = "10 kohm"
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A stage, measurements into two loads of a stage with 150 ohm, and one that is none."""
    made = tmp_path_factory.mktemp("bench")
    (made / "desk.toml").write_text(STAGE)
    hidden = STAGE.replace('"100 ohm"', '"150 ohm"')
    for name, load in (("light", "10 kohm"), ("heavy", "600 ohm")):
        stage = read_stage(hidden.replace('"10 kohm"', f'"{load}"'))
        (made / f"{name}.json").write_text(json.dumps(measured(stage).as_json()))
    (made / "none.json").write_text('{"made_by": 3}')
    return made


@pytest.fixture(scope="module")
def expected(folder: Path) -> tuple[dict[str, Any], str]:
    """The JSON that is kept, and the table that is printed."""
    done = run_here(
        "bench", "expect", "desk.toml", "--save", "m.json", "--plot", "m.png", cwd=folder
    )
    assert done.returncode == 0, done.stderr
    return json.loads((folder / "m.json").read_text()), done.stdout


def test_expect_keeps_a_measurement_and_what_it_was_made_with(
    expected: tuple[dict[str, Any], str], folder: Path
) -> None:
    kept, _ = expected
    assert kept["made_by"] == "bench expect"
    assert kept["load_resistance_ohm"] == 1e4
    assert kept["played_full_scale_v"] == 2.0
    # gain 8, 100 ohm into 10 kohm
    assert kept["levels"][0]["gain_db"] == pytest.approx(17.9753, abs=0.01)
    assert [one["name"] for one in kept["squares_on_scope"]] == ["small", "full", "slow"]
    assert (folder / "m.png").read_bytes()[:4] == b"\x89PNG"


def test_expect_prints_what_one_would_read(expected: tuple[dict[str, Any], str]) -> None:
    text = " ".join(expected[1].split())
    assert text.startswith("desk on the bench Test signals of 48 kHz; full scale is 2 V rms")
    assert "Fault: A full-scale source (2 V rms) asks the amplifier for 22.6 V peak" in text
    assert "gain at 1 kHz 18.0 dB 3.98 V rms from 502 mV rms" in text
    for group in ("Level", "Response, re 1 kHz", "Distortion", "Noise", "Limits at the load",
                  "Square waves on a scope", "Crosstalk"):  # fmt: skip
        assert f"\n{group}\n" in expected[1]
    assert "straight rise: it slews" in text
    assert max(map(len, expected[1].splitlines())) <= 80


def test_a_stage_fits_its_own_expectation(
    expected: tuple[dict[str, Any], str], folder: Path
) -> None:
    done = run_here("bench", "fit", "desk.toml", "m.json", "same.toml", "--json", cwd=folder)
    figures = {one["key"]: one for one in one_object(done.stdout)["figures"]}
    for key in ("amplifier.slew_rise", "amplifier.swing_loss_high", "amplifier.voltage_noise"):
        assert figures[key]["value"] == pytest.approx(figures[key]["before"], rel=0.05), key


def test_fit_writes_a_stage_with_its_comments(folder: Path) -> None:
    done = run_here(
        "bench", "fit", "desk.toml", "light.json", "out.toml", "--also", "heavy.json", "600 ohm",
        "--plot", "fit.png", cwd=folder,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    text = " ".join(done.stdout.split())
    assert text.startswith("desk, written to out.toml")
    resistor = re.search(r"output resistor (\S+) ± \S+ ohm was 100 ohm", text)
    assert resistor is not None
    assert float(resistor[1]) == pytest.approx(150.0, rel=0.01)
    assert "Measured, beside what the stage gives measured as described as fitted" in text
    assert max(map(len, done.stdout.splitlines())) <= 80
    written = (folder / "out.toml").read_text()
    assert "# printed on the box" in written
    assert "# guessed; fitted; was 100 ohm" in written
    fitted = load_stage(folder / "out.toml")
    assert fitted.output is not None
    assert fitted.output.resistance is not None
    assert fitted.output.resistance.value == pytest.approx(150.0, rel=0.01)
    assert (folder / "fit.png").read_bytes()[:4] == b"\x89PNG"


def test_fit_says_what_one_load_cannot_tell(folder: Path) -> None:
    done = run_here("bench", "fit", "desk.toml", "light.json", "one.toml", cwd=folder)
    text = " ".join(done.stdout.split())
    assert "One load alone does not tell an output resistance" in text
    kept = text.split("What it does not tell, kept as described")[1]
    assert "output resistor 100 ohm" in kept


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("fit", "desk.toml", "gone.json", "a.toml"), "gone.json cannot be read"),
        (("fit", "desk.toml", "none.json", "a.toml"), "none.json is no measurement"),
        (("fit", "gone.toml", "light.json", "a.toml"), "gone.toml: there is no such file"),
        (("fit", "desk.toml", "light.json", "a.json"), "no name for a stage file"),
        (("fit", "desk.toml", "light.json", "desk.toml"), "is an input too"),
        (("fit", "desk.toml", "light.json", "a.toml", "--load", "600"), "has no unit"),
        (("fit", "desk.toml", "light.json", "a.toml", "--load", "0 ohm"), "is no load"),
        (("fit", "desk.toml", "light.json", "a.toml", "--knob", "0.5"), "no volume control"),
        (("fit", "desk.toml", "light.json", "a.toml", "--plot", "a.bmp"), "no name for a picture"),
        (("expect", "desk.toml", "--rate", "8000"), "test signals are not made for 8000 Hz"),
        (("expect", "desk.toml", "--save", "m.txt"), "no name for a measurement"),
        (("expect", "desk.toml", "--save", "light.json"), "exists already"),
        (("expect", "unity-bufer"), "did you mean 'unity-buffer'?"),
    ],
)
def test_bad_requests(folder: Path, arguments: tuple[str, ...], said: str) -> None:
    before = sorted(folder.iterdir())
    assert said in complaint(run_here("bench", *arguments, cwd=folder))
    assert sorted(folder.iterdir()) == before


def test_a_stage_without_a_source_level_is_not_expected_of(folder: Path) -> None:
    place = folder / "bare.toml"
    place.write_text("[amplifier]\ngain = 2.0\n")
    assert "does not say how hot its source is" in complaint(run_here("bench", "expect", place))
    place.unlink()
