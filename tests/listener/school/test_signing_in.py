"""Attempts to sign in: telling who has an account, guessing, being led astray; none works, in both databases."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy import Connection

from listener.school.passwords import Passwords
from listener.school.signing_in import NAME, PAIR, Door, Limit
from tests.listener.school.schools import PASSWORDS, Set

# ---------------------------------------------------------------------- signing in

NOBODIES = {
    "no such account": ("nobody", "some password here"), "wrong password": ("anna", "some password here"),
    "shut, right password": ("gone", PASSWORDS["gone"]), "shut, wrong password": ("gone", "some password here"),
    "no password yet": ("blank", "some password here"), "no password yet, none given": ("blank", ""),
    "no name": ("", "some password here"), "a name that is none": ("a b\u202e", "some password here"),
    "a long name": ("n" * 5000, "some password here"), "a long password": ("anna", "p" * 5000),
    "a part of SQL": ("anna' OR '1'='1", "some password here"), "a zero byte": ("anna\0", "some password here"),
}


@pytest.mark.parametrize("what", NOBODIES)
def test_no_answer_tells_who_has_an_account(what: str, school: Set, monkeypatch: pytest.MonkeyPatch) -> None:
    """WSTG-IDNT-04: the same status, words and work of hashing, whatever is wrong."""
    checks: list[bool] = []
    real = Passwords.fits

    def counted(self: Passwords, kept: str | None, password: str) -> bool:
        checks.append(True)
        return real(self, kept, password)

    monkeypatch.setattr(Passwords, "fits", counted)
    usual = school.browser().sign_in("nobody-at-all", "some password here")
    answer = school.browser().sign_in(*NOBODIES[what])
    assert (answer.status, answer.text, answer.cookies) == (usual.status, usual.text, usual.cookies)
    assert answer.status == 403
    assert len(checks) == 2


def test_signing_in_takes_as_long_for_nobody_as_for_somebody() -> None:
    """With the hashes of real use: of each pair the quicker of three, within a third of one another."""
    passwords = Passwords()
    kept = passwords.hashed("seven green lanterns")

    def quickest(held: str | None) -> float:
        taken = []
        for _ in range(3):
            start = time.process_time()
            assert not passwords.fits(held, "another password")
            taken.append(time.process_time() - start)
        return min(taken)

    somebody, nobody, damaged = quickest(kept), quickest(None), quickest("no hash")
    assert min(nobody, damaged) > somebody / 1.5 > 0.005
    assert max(nobody, damaged) < somebody * 1.5


def test_guessing_is_stopped_even_for_the_right_password(school: Set) -> None:
    """WSTG-ATHN-03: after five tries the sixth is refused, right or wrong, until the time is over."""
    for _ in range(PAIR.failures):
        assert school.browser().sign_in("ben", "a wrong password").status == 403
    right = school.browser().sign_in("ben")
    assert right.status == 403
    assert right.text == school.browser().sign_in("nobody-else", "x").text
    assert school.browser().sign_in("anna").status == 303
    school.clock.now += PAIR.shut_s + 1
    assert school.browser().sign_in("ben").status == 303


def test_guessing_many_at_once_gains_nothing(fresh: Set, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of twenty tries at the same moment no more are let through to the check than one after the other."""
    let_through: list[bool] = []
    real = Door._count

    def counted(self: Door, connection: Connection, subjects: list[tuple[str, Limit]]) -> bool:
        let_through.append(real(self, connection, subjects))
        return let_through[-1]

    monkeypatch.setattr(Door, "_count", counted)
    with ThreadPoolExecutor(20) as pool:
        answers = list(pool.map(lambda n: fresh.browser().sign_in("ben", f"wrong {n}").status, range(20)))
    assert set(answers) == {403}
    assert (let_through.count(True), len(let_through)) == (PAIR.failures, 20)
    assert fresh.browser().sign_in("ben").status == 403


def test_guessing_over_many_names_stops_the_address(fresh: Set) -> None:
    """Password spraying: one password, many names, one address."""
    statuses = [fresh.browser().sign_in(f"name{n}", "a common password").status for n in range(34)]
    assert statuses[:30] == [403] * 30
    assert set(statuses[30:]) == {429}
    assert fresh.browser().sign_in("anna").status == 429


def test_guessing_from_many_addresses_stops_at_the_name(fresh: Set) -> None:
    gate = Door(fresh.people, fresh.clock)
    for n in range(NAME.failures):
        assert gate.enter("ben", "a wrong password", f"10.0.{n // 200}.{n % 200}") is None
    assert gate.enter("ben", PASSWORDS["ben"], "10.9.9.9") is None
    fresh.clock.now += NAME.shut_s + 1
    assert gate.enter("ben", PASSWORDS["ben"], "10.9.9.9") is not None


def test_an_address_is_not_taken_from_a_header_of_the_browser(fresh: Set) -> None:
    """Without a proxy that is trusted, saying to be someone else does not help."""
    for n in range(PAIR.failures):
        fresh.browser().sign_in("ben", "wrong", X_Forwarded_For=f"10.0.0.{n}", X_Real_IP=f"10.0.0.{n}")
    assert fresh.browser().sign_in("ben", None, X_Forwarded_For="10.0.0.99").status == 403


@pytest.mark.parametrize("after", [
    "https://attacker.example", "//attacker.example", "/\\attacker.example", "\\\\attacker.example", "javascript:x",
    "/%0d%0aSet-Cookie:x=1\r\nX: 1", "", "x", "///attacker.example", "/sign-in?next=//attacker.example",
])
def test_signing_in_leads_nowhere_else(after: str, school: Set) -> None:
    """WSTG-CLNT-04 (open redirect)."""
    answer = school.browser().sign_in("anna", after=after)
    assert answer.status == 303
    assert answer.headers["location"] == "/"
    assert len(answer.cookies) == 1
