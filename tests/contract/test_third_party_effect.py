"""Effects of other packages: found by their entry point, rendered like the built-in ones.

The package in third_party/ is really installed, in a folder of its own.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from stagefx.effects import effect_kinds

HERE = Path(__file__).parent
RATE_HZ = 48000
STAGE = '[source]\nlevel = "2 V rms"\n[load]\nresistance = "10 kohm"\n'
LIST = (
    "import dataclasses, json\n"
    "from stagefx.effects import effect_kinds\n"
    "print(json.dumps({name: [kind.meaning, [dataclasses.asdict(s) for s in kind.settings]]"
    " for name, kind in effect_kinds().items()}))"
)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the package installed in it."""
    place = tmp_path_factory.mktemp("third party")
    source = place / "source"
    shutil.copytree(HERE / "third_party", source, ignore=shutil.ignore_patterns("__pycache__"))
    offline = ["--no-deps", "--no-build-isolation", "--no-index", "--quiet"]
    target = ["--disable-pip-version-check", "--target", str(place / "site"), str(source)]
    subprocess.run([sys.executable, "-m", "pip", "install", *offline, *target], check=True)
    return place / "site"


@pytest.fixture
def music(tmp_path: Path) -> np.ndarray:
    """A second and a bit of two tones, beside a stage's file."""
    n = np.arange(RATE_HZ + 177)
    tones = [0.9 * np.sin(2.0 * np.pi * hz * n / RATE_HZ) for hz in (440.0, 555.0)]
    audio = np.stack(tones, axis=1)
    soundfile.write(tmp_path / "in.wav", audio, RATE_HZ, subtype="DOUBLE")
    (tmp_path / "stage.toml").write_text(STAGE, encoding="utf-8")
    return audio


def python(arguments: list[str], *, site: Path, folder: Path) -> subprocess.CompletedProcess[str]:
    """A fresh interpreter that finds what is installed in a folder."""
    return subprocess.run(
        [sys.executable, *arguments],
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(site)},
    )


def rendered(site: Path, folder: Path, *options: str) -> np.ndarray:
    command = ["-m", "stagefx_cli", "render", "stage.toml", "in.wav", "out.wav", "--bits", "float"]
    done = python([*command, *options], site=site, folder=folder)
    assert done.returncode == 0, done.stderr
    samples, _ = soundfile.read(folder / "out.wav")
    return np.asarray(samples)


@pytest.mark.slow
def test_music_is_played_through_it_in_volts(site: Path, tmp_path: Path, music: np.ndarray) -> None:
    found = rendered(site, tmp_path, "--without", "noise", "--level-by", "nothing")
    volts = np.sqrt(2.0) * 2.0 * music
    expected = 2.0 * np.tanh(volts / 2.0) / (np.sqrt(2.0) * 2.0)
    assert np.abs(found - expected).max() < 1e-7  # of a float file
    assert np.abs(expected - music).max() > 0.2


@pytest.mark.slow
def test_it_is_chosen_left_out_and_multiplied_by_its_name(
    site: Path, tmp_path: Path, music: np.ndarray
) -> None:
    once = rendered(site, tmp_path, "--only", "soft-knee") - music
    twice = rendered(site, tmp_path, "--only", "soft-knee", "--times", "soft-knee=2", "--force")
    assert np.abs(once).max() > 0.2
    assert np.abs(twice - music - 2.0 * once).max() < 1e-6
    left = rendered(site, tmp_path, "--without", "soft-knee", "--without", "noise", "--force")
    assert np.abs(left - music).max() < 1e-7


@pytest.mark.slow
def test_it_is_listed_with_its_settings_beside_the_built_in_ones(
    site: Path, tmp_path: Path
) -> None:
    kinds = json.loads(python(["-c", LIST], site=site, folder=tmp_path).stdout)
    assert set(kinds) == {*effect_kinds(), "soft-knee"}
    meaning, settings = kinds["soft-knee"]
    assert meaning == "a load that gives way softly"
    assert settings == [
        {
            "name": "knee_v",
            "unit": "V",
            "minimum": 0.1,
            "maximum": 100.0,
            "meaning": "highest voltage that the load lets stand",
            "default": 2.0,
        }
    ]


@pytest.mark.parametrize(
    ("offered", "said"),
    [
        ("clip = offering:NUMBER", "gives offering:NUMBER, which is no EffectKind"),
        ("mine = offering:TAKEN", "offering:TAKEN offers an effect named 'clip', a name that is"),
        ("mine = offering:MISSING", "offering:MISSING cannot be loaded"),
        ("mine = no_such_module:EFFECT", "no_such_module:EFFECT cannot be loaded"),
        ("mine = broken:EFFECT", "broken:EFFECT cannot be loaded (division by zero)"),
    ],
)
def test_a_package_that_offers_no_effect_is_one_clear_error(
    offered: str, said: str, tmp_path: Path, music: np.ndarray
) -> None:
    site = tmp_path / "site"
    about = site / "offering-1.0.dist-info"
    about.mkdir(parents=True)
    (about / "METADATA").write_text("Metadata-Version: 2.1\nName: offering\nVersion: 1.0\n")
    (about / "entry_points.txt").write_text(f"[stagefx.effects]\n{offered}\n", encoding="utf-8")
    offering = "from stagefx.effects.limits.clip import EFFECT as TAKEN\nNUMBER = 1\n"
    (site / "offering.py").write_text(offering, encoding="utf-8")
    (site / "broken.py").write_text("1 / 0\n", encoding="utf-8")
    command = ["-m", "stagefx_cli", "render", "stage.toml", "in.wav", "out.wav"]
    done = python(command, site=site, folder=tmp_path)
    assert done.returncode == 2
    assert said in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert not (tmp_path / "out.wav").exists()


def test_every_kind_tells_its_settings() -> None:
    """What any face needs to offer them: names, units, ranges, words."""
    for name, kind in effect_kinds().items():
        assert (kind.name, kind.meaning.strip()) == (name, kind.meaning)
        assert kind.meaning
        for setting in kind.settings:
            assert setting.name.isidentifier()
            assert setting.minimum < setting.maximum
            assert setting.meaning
            if setting.default is not None:
                assert setting.minimum <= setting.default <= setting.maximum
