"""Bringing files into the list of runs, and removing a run, in a real browser."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from listener.archive import Archive
from tests.listener.pages.browsers import accessibility_faults, driver, launched, page_of
from tests.listener.pages.reviewed import reviewing

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with driver() as playwright, launched(playwright) as started:
        yield started


def test_files_are_brought_in_and_a_run_is_removed(chromium: Browser, kept: Archive, tmp_path: Path) -> None:
    from playwright.sync_api import expect

    (tmp_path / "monday.txt").write_text("heart rate 72\nno murmurs\n")
    (tmp_path / "empty.wav").write_bytes(b"")
    (tmp_path / "torn.zip").write_bytes(b"PK\x03\x04" + b"\0" * 90)
    with reviewing(kept) as gate, page_of(chromium) as watched:
        page = watched.page
        page.goto(gate.address("/runs"))
        page.set_input_files("#files", [tmp_path / name for name in ("empty.wav", "torn.zip", "monday.txt")])
        expect(page.locator("#jobs li")).to_have_count(3)
        expect(page.locator("#jobs li").nth(0)).to_contain_text("It is empty")
        expect(page.locator("#jobs li").nth(1)).to_contain_text("damaged", timeout=30_000)
        dropped = page.evaluate_handle(
            "() => { const d = new DataTransfer(); d.items.add(new File(['no edema'], 'dropped.txt')); return d; }"
        )
        page.dispatch_event("body", "drop", {"dataTransfer": dropped})
        expect(page.locator("#jobs a")).to_have_count(2, timeout=60_000)
        assert accessibility_faults(page) == []
        page.click("#jobs a >> nth=0")
        expect(page.locator("#record")).to_contain_text("heart rate 72 a minute")
        assert not page.locator("#player").is_visible()
        page.goto(gate.address("/runs"))
        page.click("[data-source='monday.txt']")
        expect(page.locator("#removal")).to_contain_text("for good")
        assert accessibility_faults(page) == []
        page.click("#removal-no")
        assert len(kept.runs()) == 2
        page.click("[data-source='monday.txt']")
        page.click("#removal-yes")
        expect(page.locator(".kept > li")).to_have_count(1)
        assert [info.head.source for info in kept.runs()] == ["dropped.txt"]
        assert watched.errors == []
        assert watched.elsewhere == []
