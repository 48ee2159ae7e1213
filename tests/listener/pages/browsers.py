"""A real browser for tests: Debian's Chromium through playwright, with a microphone that plays a file."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page, Playwright

SIZES = {"narrow": (360, 780), "usual": (1280, 800), "bedside": (1920, 1080)}
_NAMES = ("chromium", "chromium-browser", "google-chrome")


def _missing() -> str | None:
    """Why there can be no browser here; None when there can."""
    try:
        import playwright  # noqa: F401
    except ImportError:
        return "the package playwright is absent: pip install '.[test]'"
    if not any(map(shutil.which, _NAMES)):
        return "no Chromium on this machine (Debian: apt install chromium)"
    return None


@contextmanager
def driver() -> Iterator[Playwright]:
    """What drives browsers; one at a time in a process. Skips where there can be no browser, or fails."""
    why = _missing()
    if why is not None:
        if os.environ.get("CROWNSOLE_NEEDS_BROWSER"):
            raise RuntimeError(why)
        pytest.skip(why)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        yield playwright


@contextmanager
def launched(playwright: Playwright, microphone: Path | None = None) -> Iterator[Browser]:
    """A browser whose microphone plays a WAV file once, or beeps."""
    plays = [f"--use-file-for-fake-audio-capture={microphone}%noloop"] if microphone else []
    root = ["--no-sandbox"] if os.geteuid() == 0 else []
    faked = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream"]
    started = playwright.chromium.launch(
        executable_path=next(filter(None, map(shutil.which, _NAMES))), args=[*root, *faked, *plays]
    )
    try:
        yield started
    finally:
        started.close()


class Watched:
    """A page with what it asked for and complained of: every address, and every error of its scripts."""

    def __init__(self, context: BrowserContext) -> None:
        self.addresses: list[str] = []
        self.errors: list[str] = []
        self.bytes = 0
        self.page: Page = context.new_page()
        context.on("request", lambda request: self.addresses.append(request.url))
        self.page.on("websocket", lambda socket: self.addresses.append(socket.url))
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("console", lambda m: self.errors.append(m.text) if m.type in ("error", "warning") else None)

    @property
    def elsewhere(self) -> list[str]:
        """Addresses that are not of this machine's loopback."""
        return [address for address in self.addresses if urlsplit(address).hostname != "127.0.0.1"]


@contextmanager
def page_of(
    browser: Browser, size: str = "usual", scheme: str = "light", *, block: bool = True
) -> Iterator[Watched]:
    """A page in a context of its own; whatever it asks of another machine is blocked, and counted."""
    width, height = SIZES[size]
    context = browser.new_context(
        viewport={"width": width, "height": height}, color_scheme="dark" if scheme == "dark" else "light"
    )
    context.set_default_timeout(15_000)
    if block:
        context.route(lambda address: urlsplit(address).hostname != "127.0.0.1", lambda route: route.abort())
    try:
        yield Watched(context)
    finally:
        context.close()


def accessibility_faults(page: Page) -> list[str]:
    """What axe-core finds wrong by WCAG 2.2 A and AA and its best practices: rule and elements."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page).response["violations"]
    return [f"{fault['id']}: {[node['target'] for node in fault['nodes']]}" for fault in found]


def overflows(page: Page) -> bool:
    """Whether the page must be scrolled sideways."""
    return bool(page.evaluate("() => document.documentElement.scrollWidth > innerWidth"))
