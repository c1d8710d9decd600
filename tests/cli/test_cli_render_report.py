"""What `stagefx render` says of the music: levels, moments, and what each effect changed."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.cli.running import complaint, one_object, run_here

RATE_HZ = 48000
STAGE = """name = "hot"
[source]
level = "8 V rms"
[amplifier]
topology = "follower"
slew_rise = "0.3 V/us"
slew_fall = "0.4 V/us"
[supply]
positive = "10 V"
negative = "-10 V"
[hum]
level = "1 mV rms"
frequency = "50 Hz"
"""
HITS_S = [0.5 * k for k in range(1, 13)]
"""A dozen, each a little longer than the one before it."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A stage, and seven seconds of a quiet tone in which twelve hits clip and slew."""
    place = tmp_path_factory.mktemp("hot")
    (place / "hot.toml").write_text(STAGE, encoding="utf-8")
    n = np.arange(7 * RATE_HZ)
    audio = 0.1 * np.sin(2.0 * np.pi * 1000.0 * n / RATE_HZ)
    for number, start_s in enumerate(HITS_S):
        first, frames = round(start_s * RATE_HZ), 480 * (number + 1)
        audio[first : first + frames] *= 9.5
    hiss = 0.9 * np.sin(2.0 * np.pi * 12000.0 * n[:4800] / RATE_HZ)
    audio[-9600:-4800] += 0.1 * hiss  # steep, and not high: it neither clips nor slews
    soundfile.write(place / "in.wav", np.stack((audio, 0.01 * audio), axis=1), RATE_HZ, "PCM_24")
    return place


def printed(folder: Path, *options: str) -> str:
    done = run_here("render", "hot.toml", "in.wav", "out.wav", "--force", *options, cwd=folder)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert max(map(len, done.stdout.splitlines())) <= 80
    return done.stdout


def told(folder: Path, *options: str) -> dict:
    options = ("--force", "--json", *options)
    return one_object(
        run_here("render", "hot.toml", "in.wav", "o.wav", *options, cwd=folder).stdout
    )


def test_every_figure_of_the_report_is_printed(folder: Path) -> None:
    """11.3 V times 0.95 clipped at 10 V; 0.0675 V/us of the 0.3 there are."""
    text = printed(folder)
    found = told(folder)
    assert text.startswith("The amplifier clipped in ")
    share = 100.0 * found["clipped_share"][0]
    assert re.search(
        rf"clipped, share +{share:.2g} \| 0 % +{found['clipped_frames'][0]:,} \| 0", text
    )
    peaks = r"10\.7 V peak \| 109 mV peak +0\.63 dB over clipping"  # the upsampled peak
    assert re.search(rf"peak at the amplifier +{peaks}", text)
    assert re.search(r"steepest slope +0\.0\d+ \| 0\.000\d+ V/us +\d\.\d times to spare", text)
    assert re.search(r"slew rate there is +0\.3 V/us", text)
    assert found["slew_available_v_per_us"] == pytest.approx(0.3)
    assert re.search(rf"either, share +{100.0 * found['nonlinear_share'][0]:.2g} \| 0 %", text)


def test_the_worst_ten_moments_are_told_with_their_times(folder: Path) -> None:
    """Of twelve hits the ten longest, longest first; moments are a sixth of a second."""
    found = told(folder)["worst_moments"]
    assert len(found) == 10
    counts = [moment["clipped_frames"] + moment["slewing_frames"] for moment in found]
    assert counts == sorted(counts, reverse=True)
    for moment in found:
        assert any(-0.2 < moment["time_s"] - hit < 0.3 for hit in HITS_S), moment
    text = printed(folder)
    after = text[text.index("Worst moments") :]
    times = re.findall(r"\b0:0\d\.\d\b", after)
    assert sorted(times) == sorted(f"0:0{moment['time_s']:.1f}" for moment in found)
    assert f"{1e3 * found[0]['clipped_frames'] / RATE_HZ:.1f} ms" in after


def test_without_anything_nonlinear_no_moments_are_printed(folder: Path) -> None:
    done = run_here("render", "line-stage", "in.wav", "healthy.wav", "--force", cwd=folder)
    assert done.stdout.startswith("Nothing clipped and nothing slewed.")
    assert "moments" not in done.stdout
    assert "share" not in done.stdout
    assert "slew rate there is" in done.stdout


def test_attribution_is_a_table_after_the_report(folder: Path) -> None:
    """1 mV of hum under 0.1 times 8 V rms and its hits; the clip at the longest of them."""
    text = printed(folder, "--attribution")
    assert text.startswith("The amplifier clipped in ")
    after = text[text.index("What each effect changes") :]
    assert re.search(
        r"^hum +-\d\d\.\d dB +-\d\d\.\d dB +all through the music$", after, re.MULTILINE
    )
    assert re.search(r"^clip +-\d\d\.\d dB +-\d\d\.\d dB +at 0:0[56]\.\d, -\d", after, re.MULTILINE)
    assert after.endswith("\nWhat would be heard: stagefx compare wire hot.toml --music in.wav\n")


def test_attribution_is_a_key_of_its_own_in_json(folder: Path) -> None:
    found = told(folder, "--attribution", "--without", "bandwidth", "--times", "hum=10")
    rows = {row["effect"]: row for row in found["attribution"]["contributions"]}
    assert "bandwidth" not in rows
    assert set(rows["hum"]) == {"effect", "alone_db", "left_out_db", "loudest_s", "loudest_db"}
    once = {r["effect"]: r for r in told(folder, "--attribution")["attribution"]["contributions"]}
    assert rows["hum"]["alone_db"] - once["hum"]["alone_db"] == pytest.approx(20.0, abs=1e-3)
    assert "attribution" not in told(folder)


@pytest.mark.parametrize("places", [("-", "out.wav"), ("in.wav", "-")])
def test_attribution_of_what_passes_by_once_is_refused(
    folder: Path, places: tuple[str, str]
) -> None:
    done = run_here("render", "hot.toml", *places, "--attribution", cwd=folder)
    assert "--attribution goes through MUSIC twice" in complaint(done)


def test_effects_with_commas_between_them_are_several(folder: Path) -> None:
    found = told(
        folder, "--attribution", "--only", "slew, clip", "--only", "hum", "--without", "hum"
    )
    assert {row["effect"] for row in found["attribution"]["contributions"]} == {"slew", "clip"}


def test_effects_that_a_stage_does_not_have_are_remarked(folder: Path) -> None:
    text = printed(folder, "--only", "oscillation,clip")
    assert "'hot' has no oscillation, so there was none to render\n" in text


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["in.wav", "hot.toml", "x.wav"], "'in.wav' is no stage; the order is STAGE, MUSIC, OUT"),
        (["hot.toml", "in.wav", "x.wav", "--times", "hum=2", "--times", "hum=3"], "more than once"),
        (["hot.toml", "in.wav", "x.wav", "--only", "slew,clap"], "'clap'; did you mean 'clip'?"),
        (["Line-Stage", "in.wav", "x.wav"], "did you mean 'line-stage'?"),
        (["line-stage.toml", "in.wav", "x.wav"], "the ready-made stage is called 'line-stage'"),
    ],
)
def test_slips_of_the_hand_are_told_as_what_they_are(
    folder: Path, arguments: list[str], said: str
) -> None:
    before = sorted(folder.iterdir())
    assert said in complaint(run_here("render", *arguments, cwd=folder))
    assert sorted(folder.iterdir()) == before
