"""`stagefx blind prepare`, and the whole way from there to a score."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

import stagefx
from stagefx.blind.codes import encode_reply
from stagefx.blind.keys import load_key
from stagefx.blind.simulation import SimulatedListener, simulate_reply
from stagefx.samples import samples_folder
from tests.cli.running import complaint, one_object, run_here

STAGES, TRIO = samples_folder() / "stages", samples_folder() / "music" / "trio.flac"
BOARDS = STAGES / "stock.toml", STAGES / "passive-box.toml"


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A pack of two stages, and what the command said of it."""
    folder = tmp_path_factory.mktemp("blind")
    done = run_here(
        "blind", "prepare", *BOARDS, TRIO, "pack", "--key", "key.json", "--passage", "2.0-3.0",
        "--title", "<b>Stock or passive?</b>", cwd=folder,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    (folder / "said.txt").write_text(done.stdout, encoding="utf-8")
    return folder


def test_what_is_said_holds_the_seal_and_nothing_of_the_key(home: Path) -> None:
    said = (home / "said.txt").read_text(encoding="utf-8")
    key = load_key(home / "key.json")
    assert key.commitment in said
    assert key.nonce not in said
    assert ",".join(key.key) not in said
    assert "honest listeners" in said


def test_python_prepares_the_same_pack(home: Path, tmp_path: Path) -> None:
    """All but what is drawn: names, order, dither and key."""
    made = stagefx.prepare_blind(
        BOARDS, tmp_path / "pack", tmp_path / "key.json", music=[TRIO], passage=(2.0, 3.0),
        title="<b>Stock or passive?</b>",
    )  # fmt: skip
    assert load_key(tmp_path / "key.json").versions == load_key(home / "key.json").versions
    lists = [
        json.loads((one / "pack" / "pack.json").read_text("utf-8")) for one in (home, tmp_path)
    ]
    drawn = {"pack", "commitment", "items"}
    kept = [{key: value for key, value in one.items() if key not in drawn} for one in lists]
    assert kept[0] == kept[1]
    titles = [[item["title"] for item in one["items"]] for one in lists]
    assert titles[0] == titles[1] == ["trio, 2.0 to 3.0 s"] * 2 + ["less treble"]
    assert made.commitment == lists[1]["commitment"]
    with pytest.raises(stagefx.BlindError, match="needs music to play through them"):
        stagefx.prepare_blind(
            [stagefx.load_stage(one) for one in BOARDS], tmp_path / "more", tmp_path / "more.json"
        )


def test_only_its_owner_reads_the_key(home: Path) -> None:
    assert (home / "key.json").stat().st_mode & 0o777 == 0o600


def test_the_page_holds_all_it_needs(home: Path) -> None:
    page = (home / "pack" / "listen.html").read_text(encoding="utf-8")
    assert "<b>Stock" not in page
    assert page.count("UklGR") >= 12  # "RIFF" in base64: every file is inside
    assert "http://" not in page.replace("http://www.w3.org/", "")
    assert "https://" not in page


def test_from_the_pack_to_the_sentence(home: Path) -> None:
    key = load_key(home / "key.json")
    rng = np.random.default_rng(1)
    replies = [
        simulate_reply(
            SimulatedListener(0.95), key, rng, trials=16, control_trials=5, name=f"guest {n}"
        )
        for n in range(3)
    ]
    saved = home / "guest.json"
    saved.write_text(json.dumps(replies[0].as_json()), encoding="utf-8")
    codes = home / "codes.txt"
    codes.write_text("\n".join(map(encode_reply, replies[1:])), encoding="utf-8")
    found = one_object(
        run_here("blind", "score", "key.json", saved, codes, "--json", cwd=home).stdout
    )
    assert found["pooled"]["trials"] == 48
    assert found["controls_passed"] is True
    assert found["sentence"].startswith("Heard blind: 3 listeners")


def test_audio_files_need_no_music(tmp_path: Path) -> None:
    music, rate_hz = soundfile.read(TRIO, start=44100, stop=3 * 44100, always_2d=True)
    soundfile.write(tmp_path / "a.wav", music, rate_hz, "PCM_24")
    soundfile.write(tmp_path / "b.wav", -0.5 * (music + 0.02 * music**3), rate_hz, "PCM_24")
    made = one_object(
        run_here(
            "blind", "prepare", "a.wav", "b.wav", "pack", "--key", "k.json", "--passage", "0.2-1.2",
            "--protocol", "triangle", "--trials", "12", "--json", cwd=tmp_path,
        ).stdout
    )  # fmt: skip
    assert (made["files"], made["trials"], made["seconds"]) == (6, 12, 1.0)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([*BOARDS, TRIO, "pack", "--key", "pack/key.json"], "would lie in the pack"),
        ([BOARDS[0], BOARDS[0], TRIO, "pack", "--key", "k.json"], "nothing to hear"),
        ([*BOARDS, TRIO, "pack", "--key", "k.json", "--passage", "30-90"], "no passage"),
        ([*BOARDS, "pack", "--key", "k.json"], "is a stage"),
        ([*BOARDS, TRIO, "pack"], "--key"),
        ([*BOARDS, TRIO, "full", "--key", "k.json"], "holds something already"),
        ([*BOARDS, TRIO, "pack", "--key", "there.json"], "there.json"),
        ([*BOARDS, TRIO, "pack", "--key", "k.json", "--version", "wire"], "preference"),
        ([*BOARDS, "none.flac", "pack", "--key", "k.json"], "none.flac"),
    ],
)
def test_what_cannot_be_packed(arguments: list[str | Path], says: str, tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "mine.txt").write_text("mine", encoding="utf-8")
    (tmp_path / "there.json").write_text("mine", encoding="utf-8")
    passage = [] if "--passage" in arguments else ["--passage", "2.0-2.6"]
    said = complaint(run_here("blind", "prepare", *arguments, *passage, cwd=tmp_path))
    assert says in said
    assert sorted(path.name for path in tmp_path.iterdir()) == ["full", "there.json"]
    assert (tmp_path / "there.json").read_text(encoding="utf-8") == "mine"
