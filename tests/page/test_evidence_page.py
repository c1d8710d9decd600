"""The evidence page in a real browser: no request, nothing cut off, players that play."""

from __future__ import annotations

import itertools
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext

from stagefx.report.answer.answer import answer_question
from stagefx.report.answer.evidence_page import page_of
from stagefx.report.answer.values import as_json_text
from stagefx.report.plots import style
from stagefx.report.plots.svg import inline_svg
from stagefx.samples import samples_folder
from tests.cli.short_music import short_music
from tests.knocks.counts import in_turn
from tests.page.browsing import Opened, open_page

pytestmark = pytest.mark.page

Profile = Callable[..., BrowserContext]
SERIOUS = {"serious", "critical"}
HOSTILE = "</title><script>window.taken=1</script><img src=x onerror=window.taken=1>& \"'`{{ 7*7 }}"
TITLES = ["How we know", "Where it holds", "What would change it"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two pages: a hostile one with a fault, and the scenario's passive box."""
    place = tmp_path_factory.mktemp("answers")
    stages = samples_folder() / "stages"
    quoted = json.dumps(HOSTILE)
    name = "one & <b>two.wav"
    short_music(place / name, seconds=4.0)
    for stage in ("stock", "oscillating"):
        text = (stages / f"{stage}.toml").read_text("utf-8")
        lines = [
            f"{line.partition('=')[0]}= {quoted}" if line.startswith(("name", "notes")) else line
            for line in text.splitlines()
        ]
        (place / f"{stage}.toml").write_text("\n".join(lines), encoding="utf-8")
    (place / "hostile.toml").write_text(
        f"ask = {quoted}\nwhy = {quoted}\nbaseline = 'stock.toml'\nchange = 'oscillating.toml'\n"
        f"music = {json.dumps(name)}\npassage = '0.5-3.5'\n",
        encoding="utf-8",
    )
    for page, question in (
        ("hostile", place / "hostile.toml"),
        ("passive", samples_folder() / "questions" / "passive-box.toml"),
    ):
        found = answer_question(question, given=("load.capacitance=1 nF",) * (page == "hostile"))
        (place / f"{page}.html").write_text(page_of(found), encoding="utf-8")
        (place / f"{page}.json").write_text(as_json_text(found), encoding="utf-8")
    return place


def faults(opened: Opened) -> list[str]:
    found = Axe().run(opened.page).response["violations"]
    return [f"{one['id']}: {one['help']}" for one in found if one["impact"] in SERIOUS]


@pytest.mark.parametrize(
    ("name", "screen"),
    in_turn(["hostile", "passive"], [(360, "light"), (768, "dark"), (1280, "light")]),
)
def test_nothing_is_asked_for_cut_off_or_out_of_reach(
    name: str, screen: tuple[int, str], folder: Path, profile: Profile
) -> None:
    width, scheme = screen
    opened = open_page(profile(width, color_scheme=scheme), folder / f"{name}.html")
    page = opened.page
    for fold in page.locator("details > summary").all():
        fold.click()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert overlapping(opened) == []
    assert faults(opened) == []
    assert opened.complaints == []
    assert [url for url in opened.requests if not url.startswith("file:")] == []
    assert len(opened.requests) == 1


def overlapping(opened: Opened) -> list[str]:
    """Words in pictures that lie on each other or outside their picture."""
    pictures: list[list[list[Any]]] = opened.page.evaluate(
        """[...document.querySelectorAll("figure > svg, .head > svg")].map((picture) =>
            [...picture.querySelectorAll("text")].map((text) => {
                const box = text.getBoundingClientRect();
                const edge = picture.getBoundingClientRect();
                return [text.textContent, box.left - edge.left, box.top - edge.top,
                        box.right - edge.left, box.bottom - edge.top, edge.width, edge.height];
            }))"""
    )
    found = [
        f"{text[0]} is cut off"
        for text in itertools.chain.from_iterable(pictures)
        if min(text[1:5]) < -1.0 or text[3] > text[5] + 1.0 or text[4] > text[6] + 1.0
    ]
    for texts in pictures:
        for one, other in itertools.combinations(texts, 2):
            across = min(one[3], other[3]) - max(one[1], other[1])
            down = min(one[4], other[4]) - max(one[2], other[2])
            if across > 1.0 and down > 0.35 * min(one[4] - one[2], other[4] - other[2]):
                found.append(f"{one[0]} lies on {other[0]}")
    return found


def test_hostile_names_are_shown_as_text(folder: Path, profile: Profile) -> None:
    opened = open_page(profile(), folder / "hostile.html")
    page = opened.page
    assert page.evaluate("window.taken === undefined")
    assert page.locator("img").count() == 0
    assert page.locator("h1").inner_text().split() == HOSTILE.split()
    assert page.title().split() == HOSTILE.split()
    assert "one & <b>two.wav" in page.inner_text("main")
    assert "{{ 7*7 }}" in page.inner_text("h1")
    assert page.evaluate("document.scripts.length") == 4  # three pieces of music and the player
    values = page.evaluate("document.querySelector('pre').textContent")
    assert HOSTILE in values.replace("\\", "")


def test_hostile_words_in_a_picture_are_shown_as_text(profile: Profile, tmp_path: Path) -> None:
    hostile = f'{HOSTILE} style="font: evil" id="x" --> ]]>'
    with style.drawing():
        drawn = style.sheet(hostile)
        markup = inline_svg(drawn, name="p", label=hostile)
    place = tmp_path / "picture.html"
    place.write_text(f"<!doctype html><title>p</title>{markup}", encoding="utf-8")
    page = open_page(profile(), place).page
    assert page.evaluate("window.taken === undefined")
    shown = page.evaluate("[...document.querySelectorAll('text')].map(t => t.textContent)")
    assert "".join("".join(shown).split()) == "".join(hostile.split())
    assert page.locator("svg").get_attribute("aria-label") == hostile
    assert page.locator("img, script, [style]").count() == 0


def test_a_fault_stands_before_the_answer(folder: Path, profile: Profile) -> None:
    page = open_page(profile(), folder / "hostile.html").page
    assert page.locator("h2").first.inner_text() == "First, a fault"
    top = page.locator(".fault").bounding_box()
    answer = page.locator(".answer").bounding_box()
    assert top is not None
    assert answer is not None
    assert top["y"] < answer["y"]
    assert "load.capacitance = 1 nF" in page.locator(".follow-up").inner_text()


def test_the_letter_is_the_json_s(folder: Path, profile: Profile) -> None:
    page = open_page(profile(), folder / "passive.html").page
    letter = json.loads((folder / "passive.json").read_text("utf-8"))["letter"]
    assert page.locator(".answer").inner_text() == letter["headline"]["text"]
    for title in TITLES:
        told = page.locator("section", has=page.get_by_role("heading", name=title)).last
        key = title.lower().replace(" ", "_")
        assert told.locator("p").inner_text() == letter[key]["text"]
    assert page.locator("figure > svg text").count() > 10  # text is text
    assert page.locator("figure table").count() == page.locator("figure > svg").count()


def test_the_players_switch_and_stop(folder: Path, profile: Profile) -> None:
    opened = open_page(profile(), folder / "passive.html")
    page = opened.page
    change = page.get_by_role("button", name="change")
    change.click()
    page.wait_for_function(
        "document.querySelector('button[data-row=\"1\"]').getAttribute('aria-pressed') === 'true'"
    )
    page.wait_for_timeout(300)
    page.get_by_role("button", name="baseline").click()
    difference = page.get_by_role("button", name="the difference")
    assert "volume capped" in difference.inner_text()
    difference.click()
    page.wait_for_timeout(300)
    pressed = page.locator("button[aria-pressed=true]")
    assert pressed.count() == 1  # one thing plays at a time
    assert pressed.inner_text().startswith("the difference")
    page.locator("button.stop:enabled").click()
    assert pressed.count() == 0
    assert opened.complaints == []
    assert page.locator(".trouble").all_inner_texts() == ["", ""]


def decoded(opened: Opened, name: str) -> dict[str, float]:
    found: dict[str, float] = opened.page.evaluate(
        """async (name) => {
            const text = document.querySelector(`script[data-file="${name}"]`).textContent.trim();
            const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
            const context = new OfflineAudioContext(2, 44100, 44100);
            const music = await context.decodeAudioData(bytes.buffer);
            let power = 0;
            let peak = 0;
            for (let channel = 0; channel < music.numberOfChannels; channel += 1) {
                for (const x of music.getChannelData(channel)) {
                    power += x * x;
                    peak = Math.max(peak, Math.abs(x));
                }
            }
            return { seconds: music.duration, power, peak };
        }""",
        name,
    )
    return found


def test_what_is_played_is_level_matched_and_the_difference_capped(
    folder: Path, profile: Profile
) -> None:
    opened = open_page(profile(), folder / "hostile.html")
    baseline, change = decoded(opened, "baseline"), decoded(opened, "change")
    assert baseline["seconds"] == change["seconds"] == pytest.approx(3.0, abs=1e-3)
    assert change["power"] / baseline["power"] == pytest.approx(1.0, abs=0.0046)  # 0.02 dB
    opened = open_page(profile(), folder / "passive.html")
    assert decoded(opened, "difference")["peak"] <= 10.0 ** (-20.0 / 20.0) + 1e-3


def test_on_a_telephone_rows_become_sentences(folder: Path, profile: Profile) -> None:
    narrow = open_page(profile(360), folder / "passive.html").page
    assert narrow.locator(".distance svg:visible").count() == 0
    told = narrow.locator(".distance .whole:visible").all_inner_texts()
    assert any(text.startswith("High end: will be heard; ") for text in told[:2])
    wide = open_page(profile(1280), folder / "passive.html").page
    assert wide.locator(".distance .whole:visible").count() == 0
    assert wide.locator(".distance svg:visible").count() > 8


def test_it_prints_to_pages(folder: Path, profile: Profile) -> None:
    page = open_page(profile(), folder / "passive.html").page
    printed = page.pdf(format="A4")
    assert printed.startswith(b"%PDF")
    page.emulate_media(media="print")
    assert page.locator(".player:visible").count() == 0
    assert page.locator("figure > svg:visible").count() == 2


def test_the_page_is_not_heavy(folder: Path) -> None:
    for name in ("hostile", "passive"):
        assert (folder / f"{name}.html").stat().st_size < 12e6
