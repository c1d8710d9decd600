"""What the page writes and draws, against Python's own: hashlib, base64, the code's reader."""

from __future__ import annotations

import base64
import hashlib
import itertools
import json
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Browser, Page
from scipy.stats import chisquare

from stagefx.blind.codes import Answer, Reply, decode_reply, reply_from_json
from stagefx.blind.keys import SealedKey
from stagefx.blind.trials import open_trial
from tests.page.browsing import with_parts

pytestmark = pytest.mark.page

NAMES = (
    "sha256", "base32", "replyCode", "replyFile", "fittingName", "below", "drawnTrials",
    "PROTOCOLS", "nearestPhrase", "passageWithin",
)  # fmt: skip
MODULES = (
    "listening/blind_page/code", "listening/blind_page/sitting", "listening/blind_page/grades",
    "page/passage",
)  # fmt: skip
ONE_IN_A_MILLION = 1e-6  # chance is the machine's, so a bound must practically never be met


@pytest.fixture(scope="module")
def parts(browser: Browser) -> Iterator[Page]:
    context = browser.new_context()
    page = context.new_page()
    with_parts(page, *MODULES, names=NAMES)
    yield page
    context.close()


def test_sha_256_is_hashlib_s_at_every_length_over_two_blocks(parts: Page) -> None:
    rng = np.random.default_rng(7)
    data = [list(rng.bytes(n)) for n in [*range(130), 1000]]
    found = parts.evaluate("all => all.map((one) => [...sha256(Uint8Array.from(one))])", data)
    assert found == [list(hashlib.sha256(bytes(one)).digest()) for one in data]


def test_base_32_is_that_of_rfc_4648(parts: Page) -> None:
    vectors = {"f": "MY", "fo": "MZXQ", "foo": "MZXW6", "foobar": "MZXW6YTBOI"}  # section 10
    for text, expected in vectors.items():
        assert parts.evaluate("text => base32(new TextEncoder().encode(text))", text) == expected
    data = list(np.random.default_rng(8).bytes(253))
    found = parts.evaluate("one => base32(Uint8Array.from(one))", data)
    assert found == base64.b32encode(bytes(data)).decode().rstrip("=")


@pytest.mark.parametrize("width", [1, 2])
@pytest.mark.parametrize("name", ["", "Ada", "Zoë \U0001f3a7", 40 * "x"])
def test_python_reads_what_the_page_writes(parts: Page, name: str, width: int) -> None:
    rng = np.random.default_rng(9)
    trials = rng.integers(0, 256, (255, 2)).tolist()
    replies = rng.integers(0, 51, (255, width)).tolist()
    sitting, pack = rng.bytes(8).hex(), rng.bytes(8).hex()
    reply = {
        "pack": pack,
        "listener": name,
        "sitting": sitting,
        "trials": trials,
        "replies": replies,
    }
    code, file = parts.evaluate("one => [replyCode(one), replyFile(one)]", reply)
    answers = tuple(
        Answer(*trial, tuple(reply)) for trial, reply in zip(trials, replies, strict=True)
    )
    expected = Reply(pack, name, sitting, answers)
    assert decode_reply(code) == expected
    assert json.loads(file) == expected.as_json()
    assert reply_from_json(json.loads(file), "here") == expected


def test_any_name_is_made_to_fit(parts: Page) -> None:
    typed = ["  Ada  ", "a\tb\nc\u2028d", 41 * "x", 20 * "ä" + "z", 11 * "\U0001f3a7", "e\u0301"]
    found = parts.evaluate("all => all.map(fittingName)", typed)
    assert found == ["Ada", "a b c d", 40 * "x", 20 * "ä", 10 * "\U0001f3a7", "é"]
    assert parts.evaluate("fittingName('half \\ud83c')") == "half \ufffd"


def test_a_draw_favours_nothing(parts: Page) -> None:
    thrown_away = parts.evaluate("""() => {
        const real = crypto.getRandomValues;
        const bytes = [255, 252, 251, 3];
        crypto.getRandomValues = (array) => { array[0] = bytes.shift(); return array; };
        try { return [below(6), below(6)]; } finally { delete crypto.getRandomValues; }
    }""")
    assert thrown_away == [251 % 6, 3]  # 252 to 255 would favour 0 to 3
    for limit in (2, 6, 7):
        found = parts.evaluate("n => Array.from({ length: 6000 }, () => below(n))", limit)
        assert chisquare(np.bincount(found, minlength=limit)).pvalue > ONE_IN_A_MILLION


def test_main_items_take_turns_and_controls_fall_anywhere(parts: Page) -> None:
    kinds = ["main", "training", "main", "control", "main"]
    pack = {
        "protocol": "triangle",
        "trials": 7,
        "control_trials": 2,
        "items": [{"kind": kind, "unlabelled": ["a", "b"]} for kind in kinds],
    }
    sittings = parts.evaluate("p => Array.from({ length: 1800 }, () => drawnTrials(p))", pack)
    places = np.zeros(9, dtype=int)
    draws: list[int] = []
    for trials in sittings:
        items = [item for item, _ in trials]  # numbers as in the key: training has none
        assert [item for item in items if item != 2] == [0, 1, 3, 0, 1, 3, 0]
        assert items.count(2) == 2
        places += [item == 2 for item in items]
        draws += [draw for _, draw in trials]
    assert chisquare(places).pvalue > ONE_IN_A_MILLION
    assert chisquare(np.bincount(draws, minlength=6)).pvalue > ONE_IN_A_MILLION


@pytest.mark.parametrize(
    ("protocol", "versions"),
    [
        ("abx", 2),
        ("same-different", 2),
        ("preference", 2),
        ("preference", 3),
        ("triangle", 2),
        ("triple", 2),
    ],
)
def test_what_the_page_plays_is_what_the_score_takes_it_for(
    parts: Page, protocol: str, versions: int
) -> None:
    for order in itertools.permutations(range(versions)):
        key = SealedKey("0" * 16, protocol, ("".join(map(str, order)),), ("main",), "0" * 32)
        item = {
            "kind": "main",
            "named": {"A": "0", "B": "1", "reference": "0"},
            "unlabelled": [str(version) for version in order],  # a file's name is its version
        }
        count, rows = parts.evaluate(
            """([name, item]) => {
                const { draws, rows } = PROTOCOLS[name];
                const all = Array.from({ length: draws(item) }, (_, draw) => rows(item, draw));
                return [draws(item), all.map((one) => one.map((row) => Number(row.file)))];
            }""",
            [protocol, item],
        )
        for draw in range(count):
            for reply in _replies(protocol):
                trial = open_trial(Answer(0, draw, reply), key)
                assert trial.right == _right_by_ear(protocol, rows[draw], reply)
        assert len({tuple(row) for row in rows}) == _different_trials(protocol, versions)


def _replies(protocol: str) -> list[tuple[int, ...]]:
    if protocol == "triple":
        return [(50, 31), (31, 50)]
    return [(n,) for n in range(3 if protocol == "triangle" else 2)]


def _right_by_ear(protocol: str, heard: list[int], reply: tuple[int, ...]) -> bool:
    """The right reply of somebody who hears which version each row plays."""
    if protocol == "abx":
        return heard[2] == heard[reply[0]]
    if protocol == "same-different":
        return (heard[0] == heard[1]) == (reply[0] == 0)
    if protocol == "preference":  # here "right" means that the lower-numbered version was chosen
        return heard[reply[0]] < heard[1 - reply[0]]
    if protocol == "triangle":
        return heard.count(heard[reply[0]]) == 1
    return heard[1 + reply.index(50)] == heard[0]


def _different_trials(protocol: str, versions: int) -> int:
    pairs = versions * (versions - 1)
    return {"abx": 2, "same-different": 4, "preference": pairs, "triangle": 6, "triple": 2}[
        protocol
    ]


def test_the_nearest_phrase_and_the_nearest_passage(parts: Page) -> None:
    grades = {50: 0, 46: 0, 45: 1, 40: 1, 36: 1, 30: 2, 20: 3, 16: 3, 14: 4, 10: 4}
    for tenths, phrase in grades.items():
        assert parts.evaluate("nearestPhrase", tenths) == phrase
    passages: dict[tuple[float, float, float], tuple[float, float]] = {
        (12.04, 18.46, 30.0): (12.0, 18.5),
        (-1.0, 99.0, 30.0): (0.0, 30.0),
        (20.0, 10.0, 30.0): (20.0, 20.5),
        (30.0, 30.0, 30.0): (29.5, 30.0),
        (0.0, 0.3, 0.3): (0.0, 0.3),
    }
    for asked, (begin, finish) in passages.items():
        found: dict[str, Any] = parts.evaluate("all => passageWithin(...all)", list(asked))
        assert found == {"begin": begin, "finish": finish}
