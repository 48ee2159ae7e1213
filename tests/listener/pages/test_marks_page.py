"""The page of marks: over loopback, for a school's accounts, and in a real browser."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from listener.archive import Archive, open_archive
from listener.archive.reading import faults
from listener.marking.desk import marked
from listener.pages.app import create_app
from listener.pages.guard import Gate
from listener.pages.review_starting import review_room
from listener.pages.serving import running
from listener.runs import Options
from tests.listener.pages.browsers import SIZES, accessibility_faults, driver, launched, overflows, page_of
from tests.listener.pages.live import asked, ours
from tests.listener.pages.reviewed import got, kept_run, sent
from tests.listener.school.schools import served
from tests.listener.sessions import LEXICON

if TYPE_CHECKING:
    from playwright.sync_api import Browser

SCRIPT = "<script>alert(1)</script>"


@contextmanager
def marking(archive: Archive) -> Iterator[Gate]:
    """A server of the pages as `crownsole review` puts them together."""
    with running(lambda gate: create_app(gate, review_room(archive, Options(), None))) as gate:
        yield gate


def body(archive: Archive, run: str, **more: Any) -> dict[str, Any]:
    return {"step": "carotids", "points": 0.5, "reason": "seen", "by": "R. Sandrin", "rubric": "complete",
            "last": archive.run(run).events, **more}  # fmt: skip


def test_marks_are_shown_changed_and_saved(kept: Archive, tmp_path: Path) -> None:
    run = kept_run(kept, tmp_path).run.id
    with marking(kept) as gate:
        status, _, text = got(gate, f"/runs/{run}/marks")
        assert status == 200
        assert "Marks are proposals; a person decides." in text
        assert "no carotid bruits bilaterally" in text
        assert sent(gate, f"/runs/{run}/marks", body(kept, run, reason=SCRIPT))[0] == 200
        text = got(gate, f"/runs/{run}/marks")[2]
        assert SCRIPT not in text
        assert "&lt;script&gt;" in text
        _, headers, table = got(gate, f"/runs/{run}/marks.csv?rubric=complete")
        rows = {row["step"]: row for row in csv.DictReader(io.StringIO(table))}
        assert (rows["carotids"]["points"], rows["carotids"]["given"]) == ("1", "0.5")
        assert "attachment" in headers["content-disposition"]
        made = json.loads(got(gate, f"/runs/{run}/marks.json?rubric=thorough")[2])
        assert made["rubric"]["id"] == "thorough"
        assert "/marks" in got(gate, f"/runs/{run}")[2]
    assert list(faults(kept, run)) == []


ATTEMPTS: list[tuple[dict[str, Any] | bytes, int, str]] = [
    ({"step": "nothing"}, 422, "marks no step 'nothing'"),
    ({"points": 7}, 422, "has 0 to 1 points"),
    ({"points": "1"}, 400, "Points are a number"),
    ({"points": True}, 400, "Points are a number"),
    ({"reason": ""}, 422, "why the points are changed"),
    ({"reason": 5}, 400, "cannot be read"),
    ({"last": 1}, 409, "since this was shown"),
    ({"last": "1"}, 400, "cannot be read"),
    ({"rubric": "nothing"}, 404, "There is no rubric 'nothing'"),
    (b"[1]", 400, "cannot be read"),
    (b"{", 400, "cannot be read"),
    (b'{"last": 1, "points": NaN}', 422, ""),
    (b"[" * 50_000, 400, "cannot be read"),
]


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Gate, str, Archive]]:
    folder = tmp_path_factory.mktemp("marks")
    with open_archive(folder / "archive.sqlite3") as archive, marking(archive) as gate:
        yield gate, kept_run(archive, folder).run.id, archive


@pytest.mark.parametrize(("wrong", "status", "message"), ATTEMPTS, ids=[str(case[0])[:40] for case in ATTEMPTS])
def test_what_cannot_be_given_is_refused(
    shown: tuple[Gate, str, Archive], wrong: dict[str, Any] | bytes, status: int, message: str
) -> None:
    gate, run, archive = shown
    before = archive.run(run).events
    whole = wrong if isinstance(wrong, bytes) else body(archive, run, **wrong)
    found, told = sent(gate, f"/runs/{run}/marks", whole)
    assert found == status
    assert message in str(told)
    assert archive.run(run).events == before


@pytest.mark.parametrize("path", ["/runs/0123456789ab/marks", "/runs/last/marks", "/runs/..%2f/marks.csv"])
def test_another_name_is_no_run(shown: tuple[Gate, str, Archive], path: str) -> None:
    assert got(shown[0], path)[0] == 404


def test_a_request_from_elsewhere_gives_nothing(shown: tuple[Gate, str, Archive]) -> None:
    gate, run, archive = shown
    data = json.dumps(body(archive, run)).encode()
    for missing in ("X-Crownsole-Token", "Origin", "Cookie"):
        headers = {name: value for name, value in ours(gate).items() if name.lower() != missing.lower()}
        assert asked(gate, "POST", f"/runs/{run}/marks", headers, data)[0] == 403


def test_in_a_school_educators_give_points_under_their_own_name(kept: Archive) -> None:
    with served(kept) as school:
        run = school.runs["anna"]
        wish = json.dumps(body(kept, run, step="bed", points=2, by="anna"))
        anna = school.signed_in("anna")
        page = anna.get(f"/runs/{run}/marks")
        assert page.status == 200
        assert "Give other points" not in page.text
        assert anna.send(f"/runs/{run}/marks", wish).status == 404
        assert anna.get(f"/runs/{school.runs['ben']}/marks").status == 404
        assert marked(kept, run, LEXICON).marking.marks()["bed"].given is None
        assert school.signed_in("teach").send(f"/runs/{run}/marks", wish).status == 200
        found = marked(kept, run, LEXICON).marking.marks()["bed"].given
        assert found is not None
        assert found.by == "teach"
        assert "Give other points" not in anna.get(f"/runs/{run}/marks").text


# ---------------------------------------------------------------------- in a browser


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with driver() as playwright, launched(playwright) as started:
        yield started


def test_points_are_given_and_settled_by_keys_alone(chromium: Browser, kept: Archive, tmp_path: Path) -> None:
    from playwright.sync_api import expect

    run = kept_run(kept, tmp_path).run.id
    with marking(kept) as gate, page_of(chromium) as watched:
        page = watched.page
        page.goto(gate.address(f"/runs/{run}/marks"))
        page.locator("#step-carotids summary").focus()
        page.keyboard.press("Enter")
        page.keyboard.press("Tab")
        page.keyboard.press("Control+a")
        page.keyboard.type("0.5")
        page.keyboard.press("Tab")
        page.keyboard.type("one side shown")
        page.keyboard.press("Enter")
        expect(page.locator("#step-carotids .given")).to_contain_text("0.5 given")
        expect(page.locator("#told")).to_contain_text("Kept. The run stands at")
        assert page.evaluate("document.activeElement.id") == "step-carotids"
        assert accessibility_faults(page) == []
        page.locator("#settle button").focus()
        page.keyboard.press("Enter")
        expect(page.locator(".notice", has_text="Settled by")).to_be_visible()
        assert watched.errors == []
        assert watched.elsewhere == []
    found = marked(kept, run, LEXICON).marking
    assert found.settled is not None
    assert found.marks()["carotids"].standing == 0.5


def test_a_reason_that_is_refused_is_told_at_its_place(chromium: Browser, kept: Archive, tmp_path: Path) -> None:
    from playwright.sync_api import expect

    run = kept_run(kept, tmp_path).run.id
    with marking(kept) as gate, page_of(chromium) as watched:
        page = watched.page
        page.goto(gate.address(f"/runs/{run}/marks"))
        page.locator("#step-bed summary").click()
        page.locator("#step-bed input[name=points]").fill("0")
        page.locator("#step-bed input[name=reason]").fill("x")
        page.locator("#step-bed button[type=submit]").click()
        expect(page.locator("#step-bed [role=alert]")).to_contain_text("has 0 points already")
        assert accessibility_faults(page) == []


def test_evidence_is_heard_and_leads_to_its_line(chromium: Browser, kept: Archive, tmp_path: Path) -> None:
    run = kept_run(kept, tmp_path).run.id
    with marking(kept) as gate, page_of(chromium) as watched:
        page = watched.page
        page.goto(gate.address(f"/runs/{run}/marks"))
        with page.expect_response(lambda answer: "sound.wav" in answer.url) as heard:
            page.locator("#step-carotids [data-from]").first.click()
        assert heard.value.status in (200, 206)
        page.locator("#step-carotids .evidence a").first.click()
        page.locator("#desk[data-ready]").wait_for()
        assert "#e" in page.url


@pytest.mark.parametrize("size", list(SIZES))
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_fits_and_reads_in_every_look(
    chromium: Browser, shown: tuple[Gate, str, Archive], size: str, scheme: str
) -> None:
    gate, run, _ = shown
    with page_of(chromium, size, scheme) as watched:
        watched.page.goto(gate.address(f"/runs/{run}/marks"))
        watched.page.locator("#marks").wait_for()
        assert accessibility_faults(watched.page) == []
        assert not overflows(watched.page)
        assert len(watched.page.content()) < 300_000
        assert watched.errors == []
