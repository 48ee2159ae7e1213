"""Signing in, looking at one's own runs, and keeping accounts, in a real browser."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from listener.archive import open_archive
from tests.listener.pages.browsers import SIZES, accessibility_faults, driver, launched, overflows, page_of
from tests.listener.school.schools import PASSWORDS, Set, served

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with driver() as playwright, launched(playwright) as started:
        yield started


@pytest.fixture
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Set]:
    with open_archive(tmp_path_factory.mktemp("school") / "archive.sqlite3") as archive, served(archive) as made:
        yield made


def sign_in(page: Page, name: str, password: str | None = None) -> None:
    page.get_by_label("Name of the account").fill(name)
    page.get_by_label("Password").fill(PASSWORDS[name] if password is None else password)
    page.keyboard.press("Enter")


def test_a_learner_signs_in_and_is_led_to_what_was_asked_for(chromium: Browser, school: Set) -> None:
    from playwright.sync_api import expect

    with page_of(chromium) as watched:
        page = watched.page
        page.goto(f"{school.origin}/progress?last=5")
        expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
        expect(page.get_by_role("navigation")).not_to_contain_text("Runs")
        sign_in(page, "anna", "not the password")
        expect(page.get_by_role("alert")).to_contain_text("do not belong together")
        sign_in(page, "anna")
        page.wait_for_url("**/progress?last=5")
        expect(page.get_by_role("heading", level=1)).to_have_text("Progress of L-1")
        page.get_by_role("link", name="Runs").click()
        expect(page.locator(".run")).to_have_count(1)
        expect(page.get_by_role("button", name="Remove")).to_have_count(0)
        page.locator(".run a").first.click()
        page.locator("#desk[data-ready]").wait_for()
        page.goto(f"{school.origin}/runs/{school.runs['ben']}")
        expect(page.locator("main")).to_contain_text("There is no such run here")
        page.get_by_role("button", name="Sign out").click()
        page.go_back()
        expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
        assert watched.elsewhere == []


def test_a_password_is_changed_and_an_account_is_shut(chromium: Browser, school: Set) -> None:
    from playwright.sync_api import expect

    with page_of(chromium) as watched, page_of(chromium) as other:
        page, keeper = watched.page, other.page
        page.goto(f"{school.origin}/account")
        sign_in(page, "anna")
        page.get_by_label("The password of now").fill(PASSWORDS["anna"])
        page.get_by_label("The new one, at least 12").fill("nine quiet kettles")
        page.get_by_label("The new one again").fill("nine quiet kettles")
        page.keyboard.press("Enter")
        expect(page.get_by_role("table", name="Log of access")).to_contain_text("change password")
        keeper.goto(school.origin)
        sign_in(keeper, "keeper")
        keeper.get_by_role("button", name="Shut the account anna").click()
        expect(keeper.get_by_role("button", name="Open the account anna")).to_be_visible()
        page.reload()
        expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
        assert (watched.errors, other.errors) == ([], [])


@pytest.mark.parametrize("size", ["narrow", "usual"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_screen_is_accessible_and_fits(size: str, scheme: str, chromium: Browser, school: Set) -> None:
    assert size in SIZES
    for name, paths in (("anna", ["/account", "/runs", "/progress"]), ("keeper", ["/people"]), ("teach", ["/cohort"])):
        with page_of(chromium, size, scheme) as watched:
            page = watched.page
            page.goto(school.origin)
            assert (accessibility_faults(page), overflows(page)) == ([], False)
            sign_in(page, name)
            page.get_by_role("button", name="Sign out").wait_for()
            for path in paths:
                page.goto(school.origin + path)
                assert (accessibility_faults(page), overflows(page)) == ([], False), path
            assert (watched.errors, watched.elsewhere) == ([], [])
