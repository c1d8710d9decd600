"""Every screen for everybody: axe-core's rules, both colour schemes, all widths, on paper."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext

from tests.page.browsing import Opened, open_page
from tests.page.listening import begin, keep
from tests.page.packs import HandMadePack

pytestmark = pytest.mark.page

Profile = Callable[..., BrowserContext]
Written = Callable[[str], Path]

SERIOUS = {"serious", "critical"}


def faults(opened: Opened) -> list[str]:
    found = Axe().run(opened.page).response["violations"]
    return [f"{one['id']}: {one['help']}" for one in found if one["impact"] in SERIOUS]


def reply(opened: Opened, protocol: str) -> None:
    if protocol == "triple":
        opened.page.get_by_role("button", name="lower: grade of First").press("Enter")
    else:
        opened.page.keyboard.press("4")
    keep(opened)


@pytest.mark.parametrize(
    ("protocol", "scheme", "width"),
    [
        ("abx", "light", 360),
        ("abx", "dark", 1920),
        ("triple", "dark", 360),
        ("triple", "light", 1280),
        ("same-different", "light", 360),
    ],
)
def test_no_screen_has_a_serious_fault_or_scrolls_sideways(
    protocol: str, scheme: str, width: int, profile: Profile, written: Written
) -> None:
    made = HandMadePack(protocol, trials=1, control_trials=1, title=12 * "Longwinded")
    opened = open_page(profile(width, color_scheme=scheme), written(made.html()))
    page = opened.page

    def look() -> None:
        assert faults(opened) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate("document.activeElement.tagName") == "H1"

    look()
    begin(opened, 40 * "W")
    look()
    page.keyboard.press("1")
    page.wait_for_function("document.querySelector('button.row[aria-pressed=true]')")
    assert faults(opened) == []
    reply(opened, protocol)
    page.reload()
    look()
    page.get_by_role("button", name="go on").press("Enter")
    reply(opened, protocol)
    page.wait_for_selector("#code")
    look()
    assert opened.complaints == []


def test_axe_sees_a_fault_where_there_is_one(profile: Profile, written: Written) -> None:
    html = HandMadePack("abx").html().replace('<label for="listener">', "<label>")
    opened = open_page(profile(), written(html))
    assert any(fault.startswith("label") for fault in faults(opened))


def test_focus_goes_through_a_trial_in_reading_order(profile: Profile, written: Written) -> None:
    made = HandMadePack("abx", trials=1, control_trials=0)
    opened = open_page(profile(360), written(made.html()))
    begin(opened, "")
    order = []
    for _ in range(10):
        opened.page.keyboard.press("Tab")
        order.append(opened.page.evaluate("document.activeElement.className || 'reply'"))
    assert order == [
        "row", "row", "row", "begin", "finish", "begin-here", "finish-here", "whole", "reply",
        "main",
    ]  # fmt: skip
    announced = opened.page.locator("#status[role=status]")
    opened.page.keyboard.press("2")
    opened.page.wait_for_function("document.querySelector('button.row[aria-pressed=true]')")
    assert announced.text_content() == "B is playing"
    assert opened.page.locator("button.row").nth(1).inner_text().endswith("playing")


def test_rows_weigh_the_same_whatever_is_drawn(profile: Profile, written: Written) -> None:
    """Nothing that can be seen or measured on the screen tells trials of different draws apart."""
    made = HandMadePack("triangle", trials=8, control_trials=4)
    opened = open_page(profile(360), written(made.html()))
    begin(opened, "")
    shown = set()
    for _ in range(12):
        look = opened.page.evaluate("document.querySelector('main').outerHTML")
        boxes = opened.page.evaluate(
            "[...document.querySelectorAll('button, input')].map((one) => {"
            " const { x, y, width, height } = one.getBoundingClientRect();"
            " return [x, y, width, height].join(); }).join(';')"
        )
        shown.add((look.replace(opened.trial(), ""), boxes))
        opened.page.keyboard.press("4")
        opened.page.keyboard.press("Enter")
    opened.page.wait_for_selector("#code")
    assert len(shown) == 1


def test_the_code_can_be_printed(profile: Profile, written: Written) -> None:
    made = HandMadePack("abx", trials=1, control_trials=0)
    opened = open_page(profile(), written(made.html()))
    begin(opened, "")
    opened.page.keyboard.press("4")
    opened.page.keyboard.press("Enter")
    opened.page.wait_for_selector("#code")
    opened.page.emulate_media(media="print")
    assert opened.page.locator("#code").is_visible()
    assert not opened.page.get_by_role("button", name="copy code").is_visible()
    assert opened.page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
