"""One real browser for all tests of pages: the system's Chromium, driven by Playwright."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from typing import Any

import pytest

ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
             "--disable-component-update", "--disable-sync"]


@pytest.fixture(scope="session")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """A browser context with a fresh profile. Skips where there is no browser."""
    place = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if place is None:
        pytest.skip("no Chromium on this system: apt-get install chromium")
    playwright = pytest.importorskip("playwright.sync_api", reason="the browser-test library is not installed")
    with playwright.sync_playwright() as driver:
        context = driver.chromium.launch_persistent_context(
            str(tmp_path_factory.mktemp("profile")), executable_path=place, headless=True, args=ARGUMENTS,
            viewport={"width": 1400, "height": 1000})
        yield context
        context.close()


@pytest.fixture
def page(chromium: Any) -> Iterator[Any]:
    """A new tab that keeps what it was told on its console and what it asked the network for."""
    tab = chromium.new_page()
    tab.troubles = []
    tab.on("console", lambda message: tab.troubles.append(message.text))
    tab.on("pageerror", lambda error: tab.troubles.append(str(error)))
    tab.requests = []
    tab.on("request", lambda request: tab.requests.append(request.url))
    yield tab
    tab.close()
