"""A headless Chromium without network, for the tests that open a page in a real browser."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

CHROMIUM = shutil.which("chromium")
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)

Seen = list[str]


class Window(Protocol):
    """Opens a file, and gives the page and what it asked for or complained of."""

    def __call__(
        self, file: Path, width: int = 1280, *, script: bool = True, dark: bool = False, still: bool = True
    ) -> tuple[Page, Seen]: ...


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if CHROMIUM is None:
        message = "Chromium is not installed: `apt-get install chromium` (or the like) lets these tests run"
        if os.environ.get("CI"):
            pytest.fail(message)
        pytest.skip(message)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
        yield chromium
        chromium.close()


@pytest.fixture
def opened(browser: Browser) -> Iterator[Window]:
    contexts = []

    def window(
        file: Path, width: int = 1280, *, script: bool = True, dark: bool = False, still: bool = True
    ) -> tuple[Page, Seen]:
        context = browser.new_context(
            offline=True,
            viewport={"width": width, "height": 800},
            java_script_enabled=script,
            color_scheme="dark" if dark else "light",
            reduced_motion="reduce" if still else "no-preference",
        )
        contexts.append(context)
        page = context.new_page()
        seen: Seen = []
        page.on("console", lambda message: seen.append(f"console: {message.text}"))
        page.on("pageerror", lambda error: seen.append(f"error: {error}"))
        page.on("request", lambda request: seen.append(f"request: {request.url[:80]}"))
        page.goto(file.as_uri())
        return page, seen

    yield window
    for context in contexts:
        context.close()


def own(file: Path) -> Seen:
    """All that a page that stands alone asks for: itself."""
    return [f"request: {file.as_uri()[:80]}"]


def first_paint(page: Page) -> float:
    """Milliseconds from the start to the first contentful paint, as the browser itself tells them."""
    milliseconds: float = page.evaluate(
        """new Promise(done => new PerformanceObserver(list => {
             const paint = list.getEntriesByName('first-contentful-paint')[0];
             if (paint) done(paint.startTime);
           }).observe({type: 'paint', buffered: true}))"""
    )
    return milliseconds
