"""A real browser on the page: what it shows, what it asks of the network, what it complains of."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from stagefx.report.page.bundle import bundle

QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
)
"""No calls home, so that the network log holds the page's requests alone; sound goes nowhere, by a
clock that needs no sound card."""


@contextmanager
def chromium() -> Iterator[Browser]:
    """Debian's own Chromium, without a screen."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=list(QUIET)
        )
        yield browser
        browser.close()


@dataclass
class Opened:
    """A page from disk, with all that it asked for and complained of."""

    page: Page
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def trial(self) -> str:
        return self.page.locator("h1").inner_text()

    def heard(self) -> list[str]:
        """The rows that are marked as playing."""
        rows = self.page.locator("button.row[aria-pressed=true] .name")
        return [str(text) for text in rows.all_inner_texts()]


def open_page(context: BrowserContext, place: Path) -> Opened:
    """A page opened as a file.

    Requests are logged below the page, at the DevTools protocol, so that none goes unseen.
    """
    page = context.new_page()
    opened = Opened(page)
    devtools = context.new_cdp_session(page)
    devtools.send("Network.enable")
    devtools.on("Network.requestWillBeSent", lambda sent: opened.requests.append(_url(sent)))
    page.on("console", lambda message: opened.complaints.append(message.text))
    page.on("pageerror", lambda error: opened.complaints.append(str(error)))
    page.goto(place.as_uri())
    return opened


def _url(sent: dict[str, Any]) -> str:
    return str(sent["request"]["url"])


def with_parts(page: Page, *modules: str, names: tuple[str, ...]) -> None:
    """The page's own modules in an empty document, some of their names laid open."""
    script = bundle(*modules) + f"\nObject.assign(window, {{ {', '.join(names)} }});\n"
    page.set_content(f'<script type="module">{script}</script>')
    page.wait_for_function(f"typeof {names[0]} !== 'undefined'")


def code_on(page: Page) -> str:
    """The code as somebody would copy it from the screen."""
    return re.sub(r"\s", "", page.locator("#code").inner_text())
