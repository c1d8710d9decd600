"""A pack tells its key to nobody: versions are alike in everything but the difference itself."""

from __future__ import annotations

import json
import random
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from scipy.optimize import brentq

from stagefx.blind.keys import load_key
from stagefx.blind.pack.equal import equalised
from stagefx.blind.pack.excerpts import Excerpt
from stagefx.blind.pack.preparation import prepare_pack
from stagefx.dsp.loudness import integrated_loudness
from stagefx.dsp.true_peak import TruePeakMeter
from stagefx.errors import BlindError
from stagefx.report.listening.blind_page.build import build_page

Array = NDArray[np.float64]
RATE_HZ = 44100


def pink(seconds: float, *, seed: int) -> Array:
    frames = round(seconds * RATE_HZ)
    rng = np.random.default_rng(seed)
    hz = np.maximum(np.fft.rfftfreq(frames, 1.0 / RATE_HZ), 20.0)
    spectrum = np.fft.rfft(rng.standard_normal((frames, 2)), axis=0) / np.sqrt(hz)[:, None]
    noise = np.fft.irfft(spectrum, frames, axis=0)
    return 0.25 * noise / np.abs(noise).max()


def tilted(version: Array, gain_of_hz: object) -> Array:
    hz = np.fft.rfftfreq(len(version), 1.0 / RATE_HZ)
    gain = gain_of_hz(hz)[:, None]  # type: ignore[operator]
    return np.fft.irfft(np.fft.rfft(version, axis=0) * gain, len(version), axis=0)


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Versions that differ in level, offset, treble above 20 kHz, polarity of their ends."""
    home = tmp_path_factory.mktemp("pack")
    first = pink(2.0, seed=1)
    second = 0.8 * tilted(first, lambda hz: 1.0 / (1.0 + (hz / 30e3) ** 2)) + 0.01
    prepare_pack(
        [Excerpt("pink noise", RATE_HZ, (first, second))],
        home / "pack",
        home / "key.json",
        versions=("stock board", "quick board"),
        page=build_page,
    )
    return home


def listing(home: Path) -> dict[str, object]:
    found = json.loads((home / "pack" / "pack.json").read_text(encoding="utf-8"))
    assert isinstance(found, dict)
    return found


def waves(home: Path) -> list[Path]:
    return sorted((home / "pack").glob("*.wav"))


def main_item(home: Path) -> tuple[list[Array], list[Array]]:
    """Unlabelled and named versions of the first item."""
    item = listing(home)["items"][0]  # type: ignore[index]
    sounds = [
        [soundfile.read(home / "pack" / name, always_2d=True)[0] for name in names]
        for names in (item["unlabelled"], item["named"].values())
    ]
    return sounds[0], sounds[1]


def test_sizes_time_stamps_and_headers(pack: Path) -> None:
    files = waves(pack)
    assert len(files) == 12
    assert len({path.stat().st_size for path in files}) == 1
    assert len({path.stat().st_mtime_ns for path in (pack / "pack").iterdir()}) == 1
    assert len({path.read_bytes()[:80] for path in files}) == 1
    assert all(path.read_bytes()[36:40] != b"LIST" for path in files)


def test_names_tell_nothing(pack: Path) -> None:
    assert all(len(path.stem) == 16 and int(path.stem, 16) >= 0 for path in waves(pack))
    key = load_key(pack / "key.json")
    assert key.versions == ("stock board", "quick board")
    for name in ("pack.json", "listen.html", "READ ME.txt"):
        text = (pack / "pack" / name).read_text(encoding="utf-8")
        assert key.commitment in text
        assert not any(word in text for word in (key.nonce, "stock board", "quick board"))
    items = listing(pack)["items"]
    assert [("answer" in item) for item in items] == [False, False, True]  # type: ignore[attr-defined]


def test_key_and_page_agree(pack: Path) -> None:
    key = load_key(pack / "key.json")
    unlabelled, (a, b) = main_item(pack)
    for digit, sound in zip(key.key[0], unlabelled, strict=True):
        near, far = (a, b) if digit == "0" else (b, a)
        assert np.abs(sound - near).max() < 4.0 * 2.0**-23 < np.abs(sound - far).max()


def test_loudness_within_a_fiftieth_of_a_decibel(pack: Path) -> None:
    for item in (sound for sounds in main_item(pack) for sound in sounds):
        level = integrated_loudness(item, rate_hz=RATE_HZ)
        reference = integrated_loudness(main_item(pack)[1][0], rate_hz=RATE_HZ)
        assert level == pytest.approx(reference, abs=0.02)


def test_offset_ends_and_peak(pack: Path) -> None:
    for path in waves(pack):
        sound = soundfile.read(path, always_2d=True)[0]
        assert np.abs(sound.mean(axis=0)).max() < 1e-5
        assert np.abs(sound[[0, -1]]).max() <= 2.0 * 2.0**-23
        assert np.abs(sound[: RATE_HZ // 1000]).max() < 1e-3  # the first ms fades in from nothing
        meter = TruePeakMeter(RATE_HZ, 2)
        meter.add(sound)
        assert float(meter.peak_dbtp.max()) <= -0.99


def test_nothing_above_20_khz_but_dither(pack: Path) -> None:
    """White dither of 24 bits is -141.5 dBFS over all, 1/15 of it from 20.7 to 22.05 kHz."""
    levels = []
    for sound in (sound for sounds in main_item(pack) for sound in sounds):
        power = np.abs(np.fft.rfft(sound * np.hanning(len(sound))[:, None], axis=0)) ** 2
        hz = np.fft.rfftfreq(len(sound), 1.0 / RATE_HZ)
        mean = power[hz > 21.6e3].mean() / (0.375 * len(sound))
        levels.append(10.0 * np.log10(mean))
    white = 20.0 * np.log10(2.0**-23 * np.sqrt(3.0 / 12.0))
    assert levels == pytest.approx([white] * 4, abs=0.5)


def test_no_two_files_share_their_dither(pack: Path) -> None:
    """Unlabelled and named are the same version, yet their last bits go their own way."""
    unlabelled, named = main_item(pack)
    for sound in unlabelled:
        for other in named:
            assert np.std(sound - other) > 0.55 * 2.0**-23  # independent: 0.6 to 0.71 steps


def test_order_and_place_are_a_coin_s_toss(tmp_path: Path) -> None:
    """64 packs: the version that comes first, and whose file name comes first."""
    music = pink(0.5, seed=2)
    excerpt = Excerpt("noise", RATE_HZ, (music, tilted(music, lambda hz: 1.0 + 0.1 * (hz > 3e3))))
    first_is_first = name_is_first = 0
    for number in range(64):
        home = tmp_path / str(number)
        home.mkdir()
        prepare_pack([excerpt], home / "pack", home / "key.json", page=no_page)
        digits = load_key(home / "key.json").key[0]
        names = listing(home)["items"][0]["unlabelled"]  # type: ignore[index]
        first_is_first += digits == "01"
        name_is_first += (names[0] < names[1]) == (digits == "01")
    assert 16 <= first_is_first <= 48  # 4 standard deviations
    assert 16 <= name_is_first <= 48


def test_levels_that_agree_are_left_alone() -> None:
    """A touch of gain on one version would mark it at frequencies where the two do not differ."""
    music = pink(1.0, seed=3)
    other = tilted(music, lambda hz: 1.0 + 0.122 * np.exp(-(((hz - 3000.0) / 60.0) ** 2)))
    one, two = equalised([music, other], RATE_HZ)
    spectra = [np.abs(np.fft.rfft(sound[:, 0])) for sound in (one, two)]
    hz = np.fft.rfftfreq(len(one), 1.0 / RATE_HZ)
    low = (hz > 20.0) & (hz < 1000.0)
    assert spectra[0][low].sum() == pytest.approx(spectra[1][low].sum(), rel=1e-6)


def test_versions_that_are_the_same_are_refused(tmp_path: Path) -> None:
    music = pink(0.5, seed=2)
    with pytest.raises(BlindError, match="nothing to hear"):
        prepare_pack(
            [Excerpt("x", RATE_HZ, (music, music))],
            tmp_path / "p",
            tmp_path / "k.json",
            page=no_page,
        )
    assert not list(tmp_path.iterdir())


def test_a_key_in_the_pack_is_refused(tmp_path: Path) -> None:
    music = pink(0.5, seed=2)
    excerpt = Excerpt("x", RATE_HZ, (music, 0.5 * music[::-1]))
    with pytest.raises(BlindError, match="would lie in the pack"):
        prepare_pack([excerpt], tmp_path / "p", tmp_path / "p" / "key.json", page=no_page)
    assert not list(tmp_path.iterdir())


def no_page(*_: object) -> str:
    return ""


class Dice(random.Random):
    """What the operating system's entropy gives, with a seed."""

    def token_hex(self, count: int) -> str:
        return self.randbytes(count).hex()

    def randbits(self, bits: int) -> int:
        return self.getrandbits(bits)

    def randbelow(self, limit: int) -> int:
        return self.randrange(limit)

    def SystemRandom(self) -> random.Random:  # noqa: N802
        return self


def level_peak(music: Array) -> Array:
    """1 dB more at 3 kHz, a little less at 6 kHz so that the loudness stays; 1 to 9 kHz alone."""

    def changed(dip: float) -> Array:
        def gain(hz: Array) -> Array:
            octaves = np.log2(np.maximum(hz, 1.0) / 3000.0)
            bump = np.exp(-((octaves / 0.35) ** 2)) - dip * np.exp(-(((octaves - 1.0) / 0.3) ** 2))
            return 1.0 + 0.122 * bump * ((hz > 1000.0) & (hz < 9000.0))

        return tilted(music, gain)

    wanted = integrated_loudness(music, rate_hz=RATE_HZ)
    dip = brentq(lambda dip: integrated_loudness(changed(dip), rate_hz=RATE_HZ) - wanted, 0.0, 8.0)
    return changed(dip)


def marks(home: Path) -> Array:
    """Everything about the unlabelled files that is not the sound between 1 and 9 kHz."""
    names = listing(home)["items"][0]["unlabelled"]  # type: ignore[index]
    rows = []
    for name in names:
        path = home / "pack" / name
        sound = soundfile.read(path, dtype="int32", always_2d=True)[0] >> 8
        whole = sound / 2.0**23
        hz = np.fft.rfftfreq(len(whole), 1.0 / RATE_HZ)
        power = np.abs(np.fft.rfft(whole[:, 0])) ** 2
        edges = [0, 50, 100, 200, 400, 700, 950, 9100, 11000, 13000, 16000, 19000, 20500, 22050]
        bands = [
            np.log(power[(hz >= low) & (hz < high)].sum() + 1e-20)
            for low, high in pairwise(edges)
            if low != 950
        ]
        last_bits = np.bincount((sound[:, 0] & 7), minlength=8) / len(sound)
        ends = [np.square(part).sum() for part in (whole[:441], whole[-441:])]
        header = path.read_bytes()[:80]
        rows.append(
            [
                int(name[:8], 16) / 2.0**32, path.stat().st_size, sum(header), *whole.mean(axis=0),
                *np.log(np.array(ends) + 1e-20), *last_bits, *bands,
            ]
        )  # fmt: skip
    first, second = np.array(rows)
    return np.concatenate([first - second, [float(names[0] < names[1])]])


def test_a_classifier_that_does_not_listen_learns_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """200 packs with keys of a seed, the difference a 1 dB peak at 3 kHz; cross-validated."""
    dice = Dice(4)
    monkeypatch.setattr("stagefx.blind.keys.secrets", dice)
    monkeypatch.setattr("stagefx.blind.pack.preparation.secrets", dice)
    monkeypatch.setattr("stagefx.blind.pack.preparation._surely_heard_cut_db", lambda *_: 6.0)
    found, answers = [], []
    for number in range(200):
        home = tmp_path / str(number)
        home.mkdir()
        music = pink(0.5, seed=number)
        other = level_peak(music)
        assert np.abs(other - music).max() > 1e-3
        prepare_pack(
            [Excerpt("noise", RATE_HZ, (music, other))],
            home / "pack",
            home / "key.json",
            page=no_page,
        )
        found.append(marks(home))
        answers.append(1.0 if load_key(home / "key.json").key[0] == "01" else -1.0)
    features, wanted = np.array(found), np.array(answers)
    features = (features - features.mean(axis=0)) / np.maximum(features.std(axis=0), 1e-12)
    right = 0
    for fold in range(10):
        test = np.arange(200) % 10 == fold
        x, y = features[~test], wanted[~test]
        weights = np.linalg.solve(x.T @ x + 10.0 * np.eye(x.shape[1]), x.T @ (y - y.mean()))
        right += int((np.sign(features[test] @ weights) == wanted[test]).sum())
    assert right <= 115
