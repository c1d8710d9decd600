"""What goes into the page, and what may not."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from typing import Any

import pytest

from stagefx.errors import BlindError
from stagefx.report.listening.blind_page.build import build_page
from stagefx.report.page.bundle import bundle
from tests.page.packs import HandMadePack


@pytest.fixture(scope="module")
def made() -> HandMadePack:
    return HandMadePack("abx")


def changed(made: HandMadePack, **what: Any) -> dict[str, Any]:
    return {**made.pack, **what}


def test_the_policy_allows_this_script_and_this_style_and_nothing_else(made: HandMadePack) -> None:
    html = made.html()
    (policy,) = re.findall(r'Content-Security-Policy" content="([^"]*)"', html)
    (script,) = re.findall(r'<script type="module">(.*?)</script>', html, re.DOTALL)
    (style,) = re.findall(r"<style>(.*?)</style>", html, re.DOTALL)
    hashes = [
        f"'sha256-{base64.b64encode(hashlib.sha256(part.encode()).digest()).decode()}'"
        for part in (script, style)
    ]
    assert policy.split("; ") == [
        "default-src 'none'",
        f"script-src {hashes[0]}",
        f"style-src {hashes[1]}",
        "base-uri 'none'",
        "form-action 'none'",
    ]
    assert "http:" not in html
    assert "https:" not in html
    assert not re.search(r"\bon\w+=|style=|\bsrc=|<link|@import|url\(|innerHTML|eval\(", html)
    assert "</script" not in script
    assert "<!--" not in script


def test_every_file_is_inside_in_the_order_of_names_whatever_order_they_came_in(
    made: HandMadePack,
) -> None:
    html = made.html()
    inside = dict(re.findall(r'data-file="([^"]*)">([^<]*)</script>', html))
    assert list(inside) == sorted(made.audio)
    assert {name: base64.b64decode(text) for name, text in inside.items()} == made.audio
    for order in (sorted(made.audio), sorted(made.audio, key=lambda name: made.version_of[name])):
        assert build_page(made.pack, {name: made.audio[name] for name in order}) == html


def test_nothing_in_the_page_depends_on_the_key(made: HandMadePack) -> None:
    """Version by version the music may swap files: only the music's own bytes change place."""
    html = made.html()
    assert made.key.nonce not in html
    assert '"key":' not in html
    main = [item["unlabelled"] for item in made.pack["items"] if item["kind"] != "training"]
    swapped = dict(made.audio)
    for first, second in main:
        swapped[first], swapped[second] = made.audio[second], made.audio[first]
    blank = re.compile(r'(data-file="[^"]*">)[^<]*')
    assert swapped != made.audio
    assert blank.sub(r"\1", build_page(made.pack, swapped)) == blank.sub(r"\1", html)


def test_of_the_pack_only_what_the_page_needs_is_inside(made: HandMadePack) -> None:
    html = build_page(changed(made, remark="U0 is the quick one"), made.audio)
    (held,) = re.findall(r'id="known">(.*?)</script>', html, re.DOTALL)
    assert "quick" not in html
    assert {item.get("answer") for item in json.loads(held)["items"]} == {"10", None}
    assert json.loads(held)["commitment"] == made.key.commitment


@pytest.mark.parametrize("secret", ["key", "nonce", "seen"])
def test_a_pack_with_a_secret_is_refused(made: HandMadePack, secret: str) -> None:
    with pytest.raises(BlindError, match=f"holds '{secret}', which would tell the answers"):
        build_page(changed(made, **{secret: made.key.as_json().get(secret, [])}), made.audio)


@pytest.mark.parametrize("kind", ["main", "control"])
def test_a_scored_item_with_an_answer_is_refused(made: HandMadePack, kind: str) -> None:
    items = [
        {**item, "answer": "01"} if item["kind"] == kind else item for item in made.pack["items"]
    ]
    with pytest.raises(BlindError, match="holds 'answer', which would tell the answers"):
        build_page(changed(made, items=items), made.audio)


def test_files_must_be_those_of_the_pack_and_of_one_size(made: HandMadePack) -> None:
    name = min(made.audio)
    rest = {other: data for other, data in made.audio.items() if other != name}
    with pytest.raises(BlindError, match=f"'{name}' is a file that the pack names, but is not"):
        build_page(made.pack, rest)
    with pytest.raises(BlindError, match=r"'stray\.wav' is a file that no item of the pack has"):
        build_page(made.pack, {**made.audio, "stray.wav": made.audio[name]})
    with pytest.raises(BlindError, match="different sizes tell versions apart"):
        build_page(made.pack, {**rest, name: made.audio[name] + b"\0"})
    with pytest.raises(BlindError, match="is no WAV file"):
        build_page(made.pack, {**rest, name: bytes(len(made.audio[name]))})


def test_a_file_name_that_would_be_markup_is_refused(made: HandMadePack) -> None:
    old = made.pack["items"][1]["unlabelled"][0]
    new = '"><script>alert(1)</script>'
    items = json.loads(json.dumps(made.pack["items"]).replace(old, json.dumps(new)[1:-1]))
    audio = {new if name == old else name: data for name, data in made.audio.items()}
    with pytest.raises(BlindError, match="is no file name for a pack"):
        build_page(changed(made, items=items), audio)


def test_trials_must_fit_and_items_must_have_their_versions(made: HandMadePack) -> None:
    with pytest.raises(BlindError, match="256 trials do not fit into a reply code"):
        build_page(changed(made, trials=251), made.audio)
    with pytest.raises(BlindError, match="no main item, or no trial of one"):
        build_page(changed(made, trials=0), made.audio)
    with pytest.raises(BlindError, match=r"an item of triple has the versions \['A', 'B'\]"):
        build_page(changed(made, protocol="triple"), made.audio)
    with pytest.raises(BlindError, match="no protocol 'abc'"):
        build_page(changed(made, protocol="abc"), made.audio)


def test_modules_come_after_what_they_import_and_once() -> None:
    script = bundle("listening/blind_page/main", "listening/blind_page/code")
    for name in ("sha256", "replyCode", "showTrial", "newSitting"):
        assert len(re.findall(rf"^function {name}\(", script, re.MULTILINE)) == 1
    assert not re.search(r"^(import|export)\b", script, re.MULTILINE)
    assert script.index("const PROTOCOLS") < script.index("function showTrial")
