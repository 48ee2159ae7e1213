"""Attempts with cookies, sessions and requests from elsewhere (WSTG-SESS): none works, in both databases."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable

import pytest

from listener.archive import open_archive
from listener.pages.guard import TOKEN_HEADER
from listener.school.signing_in import IDLE_S, LONGEST_S
from tests.listener.school.schools import PASSWORDS, Browser, Set, served

# ---------------------------------------------------------------------- sessions

COOKIES: dict[str, Callable[[Set, Browser], str]] = {
    "none": lambda school, anna: "",
    "a guess": lambda school, anna: _cookie(anna, "x" * 43),
    "empty": lambda school, anna: _cookie(anna, ""),
    "one letter changed": lambda school, anna: anna.cookie[:-1] + ("A" if anna.cookie[-1] != "A" else "B"),
    "cut": lambda school, anna: anna.cookie[:-4],
    "twice as long": lambda school, anna: anna.cookie * 2,
    "what the archive holds": lambda school, anna: _cookie(
        anna, hashlib.sha256(anna.cookie.partition("=")[2].encode()).hexdigest()
    ),
    "the token of the page": lambda school, anna: _cookie(anna, anna.token),
    "the name of the account": lambda school, anna: _cookie(anna, "anna"),
    "a part of SQL": lambda school, anna: _cookie(anna, "' OR 1=1 --"),
    "that cannot be read": lambda school, anna: 'a="\\; ][',
    "another name of cookie": lambda school, anna: f"crownsole-1={anna.cookie.partition('=')[2]}",
}


def _cookie(browser: Browser, value: str) -> str:
    return f"{browser.cookie.partition('=')[0]}={value}"


@pytest.mark.parametrize("what", COOKIES)
def test_a_forged_cookie_is_nobodys(what: str, school: Set) -> None:
    """WSTG-SESS-01 and -02."""
    anna = school.signed_in("anna")
    forged = Browser(school, COOKIES[what](school, anna))
    assert forged.get(f"/runs/{school.runs['anna']}").status == 303
    assert forged.ask("GET", f"/runs/{school.runs['anna']}/view.json").status == 401
    assert forged.send(f"/runs/{school.runs['anna']}/changes", "{}").status in (401, 403)


def test_a_cookie_is_kept_from_scripts_and_other_sites(fresh: Set) -> None:
    """WSTG-SESS-02: attributes of the cookie; its value is random and not what the archive holds."""
    one, other = fresh.browser(), fresh.browser()
    (first,), (second,) = one.sign_in("anna").cookies, other.sign_in("anna").cookies
    for cookie in (first, second):
        assert {"HttpOnly", "SameSite=strict", "Path=/"} <= set(cookie.split("; ")[1:])
        assert "Domain" not in cookie
        assert "Max-Age" not in cookie
    assert first.partition(";")[0] != second.partition(";")[0]
    assert len(first.partition(";")[0].partition("=")[2]) == 43


def test_behind_tls_a_cookie_is_secure_and_of_this_host(tmp_path_factory: pytest.TempPathFactory) -> None:
    place = tmp_path_factory.mktemp("tls") / "archive.sqlite3"
    with open_archive(place) as archive, served(archive, "https://practice.example") as school:
        browser = school.browser()
        (cookie,) = browser.sign_in("anna").cookies
        assert cookie.startswith("__Host-crownsole=")
        assert {"HttpOnly", "SameSite=strict", "Path=/", "Secure"} <= set(cookie.split("; ")[1:])
        assert browser.get("/runs").headers["strict-transport-security"] == "max-age=31536000"
        assert browser.get("/runs", Host=f"127.0.0.1:{school.port}").status == 421


def test_the_session_is_new_at_every_sign_in(fresh: Set) -> None:
    """WSTG-SESS-03 (fixation): a session from before ends, and one that was put there by someone else is not taken."""
    browser = fresh.signed_in("anna")
    before = browser.cookie
    browser.sign_in("anna")
    assert browser.cookie != before
    assert Browser(fresh, before).get("/runs").status == 303
    planted = Browser(fresh, _cookie(browser, "p" * 43))
    planted.sign_in("ben")
    assert planted.cookie != _cookie(browser, "p" * 43)
    assert Browser(fresh, _cookie(browser, "p" * 43)).get("/runs").status == 303


def test_a_session_ends_at_sign_out(fresh: Set) -> None:
    browser = fresh.signed_in("anna")
    held = browser.cookie
    assert browser.post("/sign-out", {}).status == 303
    assert Browser(fresh, held).get("/runs").status == 303


@pytest.mark.parametrize(("step", "times", "lives"), [
    (IDLE_S - 5, 1, True), (IDLE_S + 1, 1, False), (IDLE_S - 5, 12, True), (IDLE_S - 5, 13, False),
])
def test_a_session_ends_without_use_and_in_any_case(step: int, times: int, lives: bool, fresh: Set) -> None:
    """WSTG-SESS-07."""
    assert (step * times < LONGEST_S) is (lives or times == 1)
    browser = fresh.signed_in("anna")
    for _ in range(times):
        fresh.clock.now += step
        last = browser.get("/runs").status
    assert last == (200 if lives else 303)


CHANGES: dict[str, Callable[[Set], object]] = {
    "password": lambda school: school.people.set_password("anna", "entirely other words"),
    "role": lambda school: school.people.set_role("anna", "administrator"),
    "shut": lambda school: school.people.disable("anna"),
    "shut and opened again": lambda school: (school.people.disable("anna"), school.people.disable("anna", False)),
    "another learner": lambda school: school.people.set_role("anna", "learner", "L-9"),
}


@pytest.mark.parametrize("what", CHANGES)
def test_a_change_of_the_account_ends_its_sessions_at_once(what: str, fresh: Set) -> None:
    browser, other = fresh.signed_in("anna"), fresh.signed_in("ben")
    assert browser.get(f"/runs/{fresh.runs['anna']}").status == 200
    CHANGES[what](fresh)
    assert browser.get(f"/runs/{fresh.runs['anna']}").status == 303
    assert browser.send(f"/runs/{fresh.runs['anna']}/end", "{}").status == 401
    assert other.get("/runs").status == 200


def test_after_a_change_of_role_the_new_one_counts(fresh: Set) -> None:
    fresh.people.set_role("teach", "learner", "L-5")
    browser = fresh.signed_in("teach")
    assert browser.get(f"/runs/{fresh.runs['anna']}").status == 404
    fresh.people.set_role("anna", "learner", "L-9")
    assert fresh.signed_in("anna").get(f"/runs/{fresh.runs['anna']}").status == 404


def test_a_new_password_by_its_owner_ends_every_other_session(fresh: Set) -> None:
    here, there = fresh.signed_in("anna"), fresh.signed_in("anna")
    old, new = PASSWORDS["anna"], "nine quiet kettles sing"
    held = here.cookie
    assert here.post("/account", {"old": old, "new": new, "again": new}).status == 303
    assert here.cookie != held
    assert here.get("/runs").status == 200
    assert there.get("/runs").status == Browser(fresh, held).get("/runs").status == 303
    assert fresh.browser().sign_in("anna", old).status == 403
    assert fresh.browser().sign_in("anna", new).status == 303


@pytest.mark.parametrize(("old", "new", "again", "status"), [
    ("wrong", "nine quiet kettles", "nine quiet kettles", 403), ("", "nine quiet kettles", "nine quiet kettles", 403),
    (None, "nine quiet kettles", "other", 400), (None, "short", "short", 400), (None, "", "", 400),
    (None, "anna has a password", "anna has a password", 400), (None, "aaaaaaaaaaaaaaaa", "aaaaaaaaaaaaaaaa", 400),
    (None, "x" * 201, "x" * 201, 400),
])
def test_a_password_is_not_changed_without_the_old_one_or_to_a_weak_one(
    old: str | None, new: str, again: str, status: int, school: Set
) -> None:
    browser = school.signed_in("anna")
    form = {"old": PASSWORDS["anna"] if old is None else old, "new": new, "again": again}
    assert browser.post("/account", form).status == status
    assert school.browser().sign_in("anna").status == 303


# ---------------------------------------------------------------------- requests across sites

FORGED: dict[str, dict[str, str | None]] = {
    "foreign origin": {"Origin": "https://attacker.example"}, "no origin": {"Origin": None},
    "null origin": {"Origin": "null"}, "another port": {"Origin": "http://127.0.0.1:1"},
    "another site by the browser's word": {"Sec-Fetch-Site": "cross-site"},
    "same site, other origin": {"Sec-Fetch-Site": "same-site"}, "no token": {TOKEN_HEADER: None},
    "wrong token": {TOKEN_HEADER: "0" * 64}, "empty token": {TOKEN_HEADER: ""},
}


@pytest.mark.parametrize("what", FORGED)
def test_a_forged_request_changes_nothing(what: str, school: Set) -> None:
    """WSTG-SESS-05."""
    teach = school.signed_in("teach")
    run = school.runs["nobody"]
    for path in (f"/runs/{run}/remove", "/sign-out", f"/runs/{run}/end"):
        assert teach.send(path, json.dumps({"remove": run}), **FORGED[what]).status == 403
    assert teach.get(f"/runs/{run}").status == 200


def test_the_token_of_another_session_does_not_serve(school: Set) -> None:
    anna, ben = school.signed_in("anna"), school.signed_in("ben")
    anna.token = ben.token
    assert anna.post("/sign-out", {}).status == 403
    assert anna.send(f"/runs/{school.runs['anna']}/end", "{}").status == 403


@pytest.mark.parametrize("form", ["", "token=", "token=0", "token[]=x", "%ff=%ff", "token=x&" * 100])
def test_a_form_without_the_token_changes_nothing(form: str, school: Set) -> None:
    anna = school.signed_in("anna")
    for kind in ("application/x-www-form-urlencoded", "text/plain", "multipart/form-data; boundary=x"):
        answer = anna.ask("POST", "/sign-out", form.encode(), {"Content-Type": kind, "Origin": school.origin})
        assert answer.status == 403
    assert anna.get("/runs").status == 200


def test_nobody_is_signed_in_from_another_site(school: Set) -> None:
    """Forged sign-in, as somebody whose account the attacker knows."""
    for wrong in ({"Origin": "https://attacker.example"}, {"Origin": None}, {"Sec-Fetch-Site": "cross-site"}):
        assert school.browser().sign_in("anna", **wrong).status == 403  # type: ignore[arg-type]


@pytest.mark.parametrize("host", ["attacker.example", "127.0.0.1", "127.0.0.1:1", "", "127.0.0.1:1@attacker.example"])
def test_a_foreign_host_is_refused(host: str, school: Set) -> None:
    anna = school.signed_in("anna")
    assert anna.ask("GET", "/runs", headers={"Host": host}).status in (400, 421)
    assert anna.ask("GET", "/runs", headers={"X-Forwarded-Host": "attacker.example"}).status == 200
