"""The progress page and the portfolio in a real browser: in every look and size, by keys, nothing from elsewhere."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

pytest.importorskip("matplotlib", reason="plots are an extra: pip install '.[plots]'")

from listener.archive import open_archive
from listener.pages.app import create_app
from listener.pages.guard import Gate
from listener.pages.progress import portfolio, routes
from listener.pages.serving import running
from listener.progress.gathering import gather
from tests.listener.learners import attempts, insert
from tests.listener.pages.browsers import SIZES, accessibility_faults, driver, launched, overflows, page_of

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with driver() as playwright, launched(playwright) as started:
        yield started


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("kept") / "archive.sqlite3"
    with open_archive(path) as archive:
        for one in attempts(2, 7):
            insert(archive, one)
    return path


@pytest.fixture(scope="module")
def gate(place: Path) -> Iterator[Gate]:
    with open_archive(place) as archive, running(lambda gate: create_app(gate, routes(archive))) as served:
        yield served


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_is_accessible_and_fits(size: str, scheme: str, chromium: Browser, gate: Gate) -> None:
    with page_of(chromium, size, scheme) as watched:
        page = watched.page
        page.goto(gate.address("/progress"))
        for summary in page.locator("summary").all():
            summary.click()
        assert accessibility_faults(page) == []
        assert not overflows(page)
        assert page.locator("svg[role=img]").count() == page.locator(".panel").count() == 8
        assert watched.errors == []
        assert watched.elsewhere == []


def test_plots_are_drawn_in_the_ink_of_the_page(chromium: Browser, gate: Gate) -> None:
    """Light and dark, and by the button for the look too: what is drawn has the colour of the text."""
    ink = "() => getComputedStyle(document.querySelector('.plot use')).stroke"
    body = "() => getComputedStyle(document.body).color"
    seen = set()
    for scheme in ("light", "dark"):
        with page_of(chromium, "usual", scheme) as watched:
            watched.page.goto(gate.address("/progress"))
            assert watched.page.evaluate(ink) == watched.page.evaluate(body)
            seen.add(watched.page.evaluate(body))
    assert len(seen) == 2


def test_a_filter_is_chosen_by_keys_and_a_plot_is_named_to_those_who_hear(chromium: Browser, gate: Gate) -> None:
    from playwright.sync_api import expect

    with page_of(chromium) as watched:
        page = watched.page
        page.goto(gate.address("/progress"))
        page.get_by_label("Learner").focus()
        page.keyboard.press("ArrowDown")
        page.get_by_label("Only the last").focus()
        page.keyboard.type("3")
        page.keyboard.press("Enter")
        expect(page.get_by_role("heading", level=1)).to_have_text("Progress of L-01")
        expect(page.locator(".about")).to_contain_text("3 runs")
        expect(page.get_by_role("img", name="Stations over the runs")).to_be_visible()
        expect(page.get_by_role("img", name="Stations over the runs")).to_have_accessible_description(
            re.compile("Preparation: documented in . of 3; .*")
        )
        page.get_by_text("Stations over the runs, as a table").focus()
        page.keyboard.press("Enter")
        expect(page.get_by_role("table", name="Each station in each run")).to_be_visible()


def test_the_portfolio_opens_from_a_file_without_a_server(chromium: Browser, place: Path, tmp_path: Path) -> None:
    with open_archive(place) as archive:
        (tmp_path / "portfolio.html").write_text(portfolio(gather(archive)), encoding="utf-8")
    for size, scheme in (("narrow", "dark"), ("usual", "light")):
        with page_of(chromium, size, scheme, block=False) as watched:
            watched.page.goto((tmp_path / "portfolio.html").as_uri())
            assert accessibility_faults(watched.page) == []
            assert not overflows(watched.page)
            assert watched.errors == []
            assert [a for a in watched.addresses if not a.startswith("file:")] == []
