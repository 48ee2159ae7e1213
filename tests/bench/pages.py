"""Prints how quick the live page is: words and entries on the page, its bytes, and a page with very many entries.

    python -m tests.bench.pages [--entries 10000] [--events 40]

Needs Chromium and playwright. Words are given to the session as the recogniser gives them; the time runs from then
to the change of the page, in the same browser's clock as near as the two can be set side by side (under 2 ms here).
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from listener.archive import Archive, open_archive
from listener.pages.guard import Gate
from listener.pages.practice import Practice
from listener.session import Session
from parser.transcript import Word
from tests.listener.pages.browsers import driver, launched, page_of
from tests.listener.pages.live import practising
from tests.listener.sessions import LEXICON, spoken

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

SAID = (
    "no carotid bruits bilaterally",
    "pedal edema two plus on the left",
    "heart rate seventy two",
    "lungs clear to auscultation",
    "abdomen soft and non tender",
)

#: Notes when rows and words change, in milliseconds since the epoch.
WATCH = """() => {
  globalThis.seen = { words: [], filed: [] };
  const note = (list) => () => list.push(performance.timeOrigin + performance.now());
  const all = { childList: true, characterData: true, subtree: true };
  new MutationObserver(note(seen.words)).observe(document.getElementById("words"), all);
  new MutationObserver((changes) => {
    if (changes.some((c) => [...c.addedNodes].some((n) => n.matches?.(".entry")))) note(seen.filed)();
  }).observe(document.getElementById("log"), { childList: true, subtree: true });
}"""


def latencies(page: Page, practice: Practice, events: int) -> tuple[list[float], list[float], list[float]]:
    """Milliseconds until words stand on the page, until they are filed on the disk, and until entries are shown."""
    page.evaluate(WATCH)
    words, kept, filed = [], [], []
    session = practice.session
    assert session is not None
    for number in range(events):
        text = SAID[number % len(SAID)]
        page.evaluate("() => { seen.words.length = seen.filed.length = 0; }")
        began = time.time() * 1000
        kept.append(_heard(practice, session, spoken(text, 3.0 * number)))
        page.wait_for_timeout(150)
        seen = page.evaluate("() => seen")
        words.append(seen["words"][0] - began)
        filed.append(seen["filed"][0] - began)
    return words, kept, filed


def _heard(practice: Practice, session: Session, words: Sequence[Word]) -> float:
    """Has the engine hear words as if they had just become final; milliseconds until all of it is on the disk."""
    done = threading.Event()
    took: list[float] = []

    def hear() -> None:
        began = time.perf_counter()
        session.hear(words)
        took.append((time.perf_counter() - began) * 1000)
        done.set()

    practice._do(hear)
    done.wait(30)
    return took[0]


def many(archive: Archive, entries: int) -> str:
    """A run with so many entries, left open as by a kill."""
    session = Session.begin(archive, LEXICON, "a bench")
    while len(session.state.filing.entries) < entries:
        session.type("\n".join(SAID))
    session.abandon()
    return session.id


def told(name: str, values: Sequence[float]) -> None:
    if not values:
        return
    ordered = sorted(values)
    p95 = ordered[min(len(ordered) - 1, round(0.95 * len(ordered)))]
    print(f"  {name:42} median {statistics.median(values):6.1f} ms   95 % {p95:6.1f} ms   most {ordered[-1]:6.1f} ms")


def short_run(chromium: Browser, gate: Gate, practice: Practice, events: int) -> None:
    with page_of(chromium) as watched:
        page, sizes = watched.page, {}
        page.on("response", lambda answer: sizes.update({answer.url: len(answer.body()) if answer.ok else 0}))
        page.goto(gate.address())
        page.locator("#start").wait_for()
        page.click("#begin")
        page.locator("#run").wait_for()
        page.wait_for_timeout(1500)
        words, kept, filed = latencies(page, practice, events)
        print(f"a run of its own, the microphone on ({events} utterances)")
        told("words on the page after they are final", words)
        told("kept, understood and filed on the disk", kept)
        told("entries on the page after words are final", filed)
        print(f"  bytes of the page with all its files: {sum(sizes.values())}")


def long_run(chromium: Browser, gate: Gate, practice: Practice, run: str, events: int) -> None:
    with page_of(chromium) as watched:
        page = watched.page
        page.goto(gate.address())
        page.locator("#start").wait_for()
        began = time.perf_counter()
        practice.go_on(run)
        page.locator("#run").wait_for(timeout=120_000)
        opened = time.perf_counter() - began
        page.wait_for_timeout(1500)
        began = time.perf_counter()
        page.reload()
        page.locator("#log li").first.wait_for()
        again = time.perf_counter() - began
        page.wait_for_timeout(1500)
        words, kept, filed = latencies(page, practice, events)
        entries = page.locator("#filed-sum").inner_text()
        print(f"a run with {entries}")
        print(f"  gone on with, from the archive: {opened:.1f} s; page loaded again: {again * 1000:.0f} ms")
        told("words on the page after they are final", words)
        told("kept, understood and filed on the disk", kept)
        told("entries on the page after words are final", filed)
        print(f"  rows in the page: {page.locator('#log > li').count()}")


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--entries", type=int, default=10_000)
    parser.add_argument("--events", type=int, default=40)
    wanted = parser.parse_args(arguments)
    runs: list[Callable[[Browser, Gate, Practice], None]] = []
    with tempfile.TemporaryDirectory() as folder, open_archive(Path(folder) / "a.sqlite3") as archive:
        run = many(archive, wanted.entries)
        runs.append(lambda browser, gate, practice: short_run(browser, gate, practice, wanted.events))
        runs.append(lambda browser, gate, practice: long_run(browser, gate, practice, run, wanted.events))
        with driver() as playwright, launched(playwright) as chromium:
            for measure in runs:
                with practising(archive) as (gate, practice):
                    measure(chromium, gate, practice)


if __name__ == "__main__":
    main()
