"""Attempts on a school: what one person tries on another's runs and accounts, each of them in vain, in both databases.

The attempts follow OWASP's Web Security Testing Guide 4.2 (WSTG-IDNT-04 and -05, -ATHN-02, -03 and -07, -ATHZ-02 to
-04, -SESS-01 to -07, -CLNT-04).
"""

from __future__ import annotations

import json
import re
import time
from collections.abc import Callable

import pytest
from sqlalchemy import select, text
from starlette.applications import Starlette
from starlette.routing import Mount, Route

from listener.archive.reading import filed_record
from listener.archive.tables import PersonRow, SignInRow
from listener.school.access import Check, Log
from tests.listener.school.schools import SECRETS, Answer, Browser, Set


def run_routes(school: Set) -> list[tuple[str, str]]:
    """Method and path of every route that names a run."""
    assert isinstance(school.app, Starlette)
    found = [(method, route.path) for route in school.app.routes if isinstance(route, Route)
             for method in sorted(route.methods or ()) if "{run" in route.path]
    assert len(found) >= 12
    return found


def at(path: str, run: str) -> str:
    filled = path.replace("{run}", run)
    return re.sub(r"\{[^}]+\}", "e1", filled.replace("{format}", "text"))


def asked(browser: Browser, method: str, path: str, run: str) -> Answer:
    if method in ("GET", "HEAD"):
        return browser.ask(method, at(path, run), headers={"Accept": "text/html"})
    return browser.send(at(path, run), json.dumps({"remove": run, "do": "withdraw_entry", "entry": "e1"}), method)


# ---------------------------------------------------------------------- runs of others


def test_every_route_is_behind_a_check(school: Set) -> None:
    """No route without one but the page to sign in on and the files of the pages: a new one is found here."""
    assert isinstance(school.app, Starlette)
    bare = [route for route in school.app.routes if not isinstance(getattr(route, "app", None), Check)]
    assert {getattr(route, "path", "?") for route in bare} == {"/sign-in", "/static"}
    assert all(isinstance(route, Route | Mount) for route in school.app.routes)


def test_every_route_answers_for_another_learners_run_as_for_one_that_is_not_there(school: Set) -> None:
    """WSTG-ATHZ-04 (references to objects)."""
    anna = school.signed_in("anna")
    for method, path in run_routes(school):
        other, none = asked(anna, method, path, school.runs["ben"]), asked(anna, method, path, "0123456789ab")
        assert other.status == none.status == 404, (method, path)
        assert other.text == none.text
        assert "quagga" not in other.text
        assert asked(anna, method, path, school.runs["nobody"]).text == none.text
    assert "quagga" in school.signed_in("ben").get(f"/runs/{school.runs['ben']}/view.json").text


def test_learners_see_their_own_runs_and_educators_all(school: Set) -> None:
    for name, words in SECRETS.items():
        browser = school.signed_in(name)
        own = browser.get(f"/runs/{school.runs[name]}/view.json")
        assert own.status == 200
        assert words.split()[-1] in own.text
    teach = school.signed_in("teach")
    assert all(teach.get(f"/runs/{run}/view.json").status == 200 for run in school.runs.values())


def test_administrators_and_accounts_that_are_shut_see_no_run(school: Set) -> None:
    keeper = school.signed_in("keeper")
    for method, path in run_routes(school):
        assert asked(keeper, method, path, school.runs["anna"]).status == 404
    for path in ("/runs", "/progress", "/progress/runs.csv", "/progress/portfolio.html"):
        assert keeper.get(path).status == 404


SPELLINGS: dict[str, Callable[[str], str]] = {
    "beginning of the id": lambda run: run[:8],
    "in capitals": str.upper,
    "with a line feed": lambda run: run + "%0A",
    "with a space": lambda run: "%20" + run,
    "with a dot": lambda run: "./" + run,
    "through another run": lambda run: f"../runs/{run}",
    "a slash in it": lambda run: f"x%2F..%2F{run}",
    "with a zero byte": lambda run: run + "%00",
    "the newest": lambda run: "last",
    "any": lambda run: "%25",
    "with a parameter": lambda run: f"{run};x=1",
}


@pytest.mark.parametrize("how", SPELLINGS)
def test_other_spellings_of_an_id_open_nothing(how: str, school: Set) -> None:
    """WSTG-ATHZ-02 and -INPV: whatever is opened, it is no run of someone else."""
    anna = school.signed_in("anna")
    for run in (school.runs["ben"], school.runs["nobody"]):
        answer = anna.get(f"/runs/{SPELLINGS[how](run)}")
        assert answer.status in (404, 400), answer.text
        assert "quagga" not in answer.text + anna.get(f"/runs/{SPELLINGS[how](run)}/view.json").text


@pytest.mark.parametrize(
    "query", ["", "?learner=L-2", "?learner=L-1&learner=L-2", "?learner=", "?learner=%25", "?learner=l-2&last=9"]
)
def test_lists_hold_only_what_one_may_see(query: str, school: Set) -> None:
    anna = school.signed_in("anna")
    for path in ("/runs", "/progress", "/progress/runs.csv", "/progress/portfolio.html"):
        answer = anna.get(path + query)
        assert answer.status == 200
        assert school.runs["ben"] not in answer.text
        assert school.runs["nobody"] not in answer.text
        assert ">L-2<" not in answer.text
    assert school.runs["anna"] in anna.get("/progress/runs.csv").text
    teach = school.signed_in("teach").get("/progress/runs.csv").text
    assert all(run in teach for run in school.runs.values())


# ---------------------------------------------------------------------- more rights than one has


def test_learners_and_educators_keep_no_accounts(school: Set) -> None:
    """WSTG-ATHZ-03."""
    for name in ("anna", "teach"):
        browser = school.signed_in(name)
        assert browser.get("/people").status == 404
        assert browser.get("/cohort").status == (200 if name == "teach" else 404)
        assert browser.post("/people", {"name": "ben", "do": "shut"}).status == 404
    assert school.signed_in("ben").get("/runs").status == 200


def test_what_is_sent_along_does_not_change_who_one_is(school: Set) -> None:
    anna = school.signed_in("anna")
    anna.post("/account", {"old": "x", "new": "y", "again": "y", "role": "educator", "learner": "L-2", "name": "ben"})
    anna.more = {"X-Role": "educator", "X-User": "teach", "Authorization": "Basic dGVhY2g6eA=="}
    assert anna.get(f"/runs/{school.runs['ben']}?role=educator&learner=L-2").status == 404
    assert school.people.get("anna").role == "learner"


def test_a_learner_removes_nothing_and_an_educator_does(fresh: Set) -> None:
    anna, run = fresh.signed_in("anna"), fresh.runs["anna"]
    assert anna.send(f"/runs/{run}/remove", json.dumps({"remove": run})).status == 404
    assert anna.get(f"/runs/{run}").status == 200
    teach = fresh.signed_in("teach")
    assert teach.send(f"/runs/{run}/remove", json.dumps({"remove": run})).status == 200
    assert anna.get(f"/runs/{run}").status == 404


def test_a_learner_gives_no_points_for_a_run_of_their_own(fresh: Set) -> None:
    anna, run = fresh.signed_in("anna"), fresh.runs["anna"]
    events = len(list(fresh.archive.events(run)))
    points = {"step": "any", "points": 5, "reason": "I was good", "last": events, "by": "teach", "settle": True}
    assert anna.send(f"/runs/{run}/marks", json.dumps(points)).status == 404
    assert len(list(fresh.archive.events(run))) == events
    assert anna.get(f"/runs/{run}/marks").status == 200


def test_a_change_is_signed_with_the_account_whatever_is_said(fresh: Set) -> None:
    anna, run = fresh.signed_in("anna"), fresh.runs["anna"]
    view = json.loads(anna.get(f"/runs/{run}/view.json").text)
    record = filed_record(fresh.archive, run)
    assert record is not None
    entry = next(iter(record.entries()))
    wish = {"do": "withdraw_entry", "revision": view["revision"], "entry": entry, "by": "teach", "reason": "slip"}
    assert anna.send(f"/runs/{run}/changes", json.dumps(wish)).status == 200
    events = [event.body for event in fresh.archive.events(run) if event.kind == "request"]
    assert events[-1]["by"] == "anna"


def test_what_a_learner_sends_is_theirs_and_its_progress_too(fresh: Set) -> None:
    anna, ben = fresh.signed_in("anna"), fresh.signed_in("ben")
    sent = anna.send("/taking?name=mine.txt", "heart sounds regular gazelle", **{"Content-Type": "text/plain"})
    job = json.loads(sent.text)
    until = time.monotonic() + 20
    while (told := json.loads(anna.ask("GET", f"/taking/{job['id']}").text))["state"] in ("waiting", "working"):
        assert time.monotonic() < until
        time.sleep(0.05)
    assert told["state"] == "done", told
    assert ben.ask("GET", f"/taking/{job['id']}").status == 404
    assert fresh.archive.run(told["run"]).learner == "L-1"
    assert anna.get(f"/runs/{told['run']}").status == 200
    assert ben.get(f"/runs/{told['run']}").status == 404


def test_administrators_shut_and_open_but_not_themselves(fresh: Set) -> None:
    keeper, anna = fresh.signed_in("keeper"), fresh.signed_in("anna")
    assert keeper.post("/people", {"name": "keeper", "do": "shut"}).status == 400
    assert keeper.post("/people", {"name": "anna", "do": "shut"}).status == 303
    assert anna.get("/runs").status == 303
    assert fresh.browser().sign_in("anna").status == 403
    assert keeper.post("/people", {"name": "anna", "do": "open"}).status == 303
    assert fresh.browser().sign_in("anna").status == 303


# ---------------------------------------------------------------------- the log


def test_the_log_tells_who_saw_what_and_nothing_that_was_said_or_typed(fresh: Set) -> None:
    anna = fresh.signed_in("anna")
    anna.get(f"/runs/{fresh.runs['anna']}")
    anna.get(f"/runs/{fresh.runs['ben']}")
    anna.get("/progress")
    fresh.browser().sign_in("my secret password", "x")
    lines = Log(fresh.archive).last()
    told = {(line.who, line.what, line.run, line.outcome) for line in lines}
    assert {("anna", "run", fresh.runs["anna"], "done"), ("anna", "progress", None, "done"),
            ("anna", "run", fresh.runs["ben"], "refused"), ("anna", "sign in", None, "done"),
            ("-", "sign in", None, "refused")} <= told
    assert not any("zebra" in str(line) or "secret" in str(line) for line in lines)
    for statement in ("UPDATE access SET who = 'x'", "DELETE FROM access"):
        with pytest.raises(Exception, match="only grows"), fresh.archive._engine.connect() as connection, \
                connection.begin():  # fmt: skip
            connection.execute(text(statement))


def test_the_archive_holds_no_password_and_no_token(fresh: Set) -> None:
    anna = fresh.signed_in("anna")
    with fresh.archive.reading() as connection:
        kept = [row.password for row in connection.execute(select(PersonRow.__table__))]
        tokens = [row.token for row in connection.execute(select(SignInRow.__table__))]
    assert all(one is None or one.startswith("$argon2id$") for one in kept)
    assert anna.cookie.partition("=")[2] not in tokens
