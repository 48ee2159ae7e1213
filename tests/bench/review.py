"""How quickly runs open and answer on the review page, by the number of their lines.

    python -m tests.bench.review [LINES...]

Server: seconds of computing (not of waiting for other programs) to open a run from the archive and make its view, and
to confirm one line, audit included. Browser: seconds until the page is ready, and until it is drawn after a step by
key, and after two jumps to a station.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from listener.archive import Archive, open_archive
from listener.pages.review_desk import Desk
from listener.reviewing import Wish
from tests.listener.pages.browsers import driver, launched, page_of
from tests.listener.pages.reviewed import long_run, reviewing

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

_DRAWN = "() => new Promise((drawn) => requestAnimationFrame(() => setTimeout(drawn)))"


def timed(what: Callable[[], object], times: int = 1, clock: Callable[[], float] = time.perf_counter) -> float:
    """The median of seconds."""
    took = []
    for _ in range(times):
        start = clock()
        what()
        took.append(clock() - start)
    return statistics.median(took)


def server(archive: Archive, run: str) -> None:
    desk = Desk(archive)
    print(f"  open {timed(lambda: desk.open(run), 1, time.process_time):.2f} s", end="")
    lines = [line.entry for station in desk.open(run).view.stations for line in station.lines][:3]

    def confirm() -> None:
        desk.act(run, Wish("confirm", desk.open(run).shown.revision, "bench", lines.pop()))

    print(f", confirm {timed(confirm, 3, time.process_time):.2f} s")


def browser(archive: Archive, run: str, chromium: Browser) -> None:
    with reviewing(archive) as gate, page_of(chromium) as watched:
        page = watched.page
        page.set_default_timeout(120_000)
        page.goto(gate.address("/runs"))

        def opened() -> None:
            page.goto(f"http://127.0.0.1:{gate.port}/runs/{run}")
            page.locator("#desk[data-ready]").wait_for()

        print(f"  page ready first {timed(opened):.2f} s, again {timed(opened, 3):.2f} s", end="")
        nodes = page.evaluate("() => document.querySelectorAll('*').length")
        step, jump = timed(lambda: drawn(page, "j"), 20), timed(lambda: jumped(page), 3)
        print(f", {nodes} nodes; step {step * 1000:.0f} ms, jump {jump * 1000:.0f} ms")


def drawn(page: Page, key: str) -> None:
    page.keyboard.press(key)
    page.evaluate(_DRAWN)


def jumped(page: Page) -> None:
    for station in ("abdomen", "vital_signs"):
        page.click(f"[data-station={station}]")
        page.evaluate(_DRAWN)


def main() -> None:
    with tempfile.TemporaryDirectory() as folder, open_archive(Path(folder) / "a.sqlite3") as archive:
        runs = {lines: long_run(archive, lines) for lines in map(int, sys.argv[1:] or ("200", "1000", "10000"))}
        with driver() as playwright, launched(playwright) as chromium:
            for lines, run in runs.items():
                print(f"{lines} lines:")
                server(archive, run)
                browser(archive, run, chromium)


if __name__ == "__main__":
    main()
