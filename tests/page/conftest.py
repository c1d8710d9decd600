"""One browser for each module of page tests, a new profile for each test."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext

from tests.page.browsing import chromium


@pytest.fixture(scope="module")  # its event loop must not outlive the page tests
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running


@pytest.fixture
def profile(browser: Browser) -> Iterator[Callable[..., BrowserContext]]:
    """Makes profiles that share nothing: each its own store, screen and colours."""
    opened: list[BrowserContext] = []

    def new(width: int = 1280, height: int = 900, **options: object) -> BrowserContext:
        context = browser.new_context(
            viewport={"width": width, "height": height}, accept_downloads=True, **options
        )
        context.set_default_timeout(15_000)
        opened.append(context)
        return context

    yield new
    for context in opened:
        context.close()


@pytest.fixture
def written(tmp_path: Path) -> Callable[[str], Path]:
    """Writes a page and says where."""

    def write(html: str) -> Path:
        place = tmp_path / "listen.html"
        place.write_text(html, encoding="utf-8")
        return place

    return write
