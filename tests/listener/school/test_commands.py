"""Accounts on the command line, and what the server mode refuses to be started as."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from listener.cli import app
from listener.errors import CrownsoleError, UsageError
from listener.school.door import Public
from listener.school.passwords import accepted
from listener.school.people import Person, may_see_learner

PASSWORD = "seven green lanterns"


def people(place: Path, *arguments: str, typed: str = "", fails: str = "") -> str:
    done = CliRunner().invoke(app, ["people", *arguments, "--database", str(place)], input=typed)
    if fails:
        assert isinstance(done.exception, CrownsoleError), done.output
        assert fails in str(done.exception)
        return ""
    assert done.exit_code == 0, done.output
    return done.stdout


def test_accounts_are_made_listed_shut_and_given_passwords(tmp_path: Path) -> None:
    place = tmp_path / "archive.sqlite3"
    people(place, "add", "Anna", "--learner", "L-7", "--password-stdin", typed=f"{PASSWORD}\n")
    people(place, "add", "teach", "--role", "educator", "--password-stdin", typed=f"{PASSWORD} too\n")
    assert people(place, "list").split() == ["anna", "learner", "L-7", "open", "teach", "educator", "open"]
    assert "shut" in people(place, "disable", "anna")
    assert "open" in people(place, "disable", "anna", "--enable")
    assert "was set" in people(place, "password", "anna", "--password-stdin", typed="quite another one\n")
    assert "administrator" in people(place, "role", "teach", "administrator")
    told = people(place, "log")
    assert len(told.splitlines()) == 6
    assert "operator" in told.splitlines()[0]
    assert "set role of teach" in told.splitlines()[0]
    assert PASSWORD not in told


@pytest.mark.parametrize(("arguments", "typed", "fails"), [
    (("add", "anna", "--password-stdin"), f"{PASSWORD}\n", "account 'anna' already"),
    (("add", "ANNA", "--password-stdin"), f"{PASSWORD}\n", "account 'anna' already"),
    (("add", "other", "--learner", "L-7", "--password-stdin"), f"{PASSWORD}\n", "belong to the account 'anna'"),
    (("add", "ben", "--role", "owner", "--password-stdin"), f"{PASSWORD}\n", "no role 'owner'"),
    (("add", "ben", "--role", "educator", "--learner", "L-2", "--password-stdin"), f"{PASSWORD}\n", "Only a learner's"),
    (("add", "a b", "--password-stdin"), f"{PASSWORD}\n", "no spaces"),
    (("add", "ben", "--password-stdin"), "short\n", "12 to 200"),
    (("add", "ben", "--password-stdin"), "", "12 to 200"),
    (("add", "benjamin", "--password-stdin"), "I am Benjamin!\n", "too easy"),
    (("add", "ben"), "", "--password-stdin"),
    (("disable", "nobody"), "", "no account 'nobody'"),
    (("password", "nobody", "--password-stdin"), f"{PASSWORD}\n", "no account 'nobody'"),
    (("role", "anna", "owner"), "", "no role 'owner'"),
    (("log", "nobody"), "", "no account 'nobody'"),
])
def test_what_cannot_be_is_refused_and_told(
    arguments: tuple[str, ...], typed: str, fails: str, tmp_path: Path
) -> None:
    place = tmp_path / "archive.sqlite3"
    people(place, "add", "anna", "--learner", "L-7", "--password-stdin", typed=f"{PASSWORD}\n")
    people(place, *arguments, typed=typed, fails=fails)
    assert people(place, "list").split() == ["anna", "learner", "L-7", "open"]


@pytest.mark.parametrize("origin", [
    "http://practice.example", "http://192.168.1.5:8300", "practice.example", "https://", "ftp://practice.example",
    "https://practice.example/", "https://practice.example/path", "", "http://127.0.0.1.example",
])
def test_an_address_without_tls_or_with_more_than_a_host_is_refused(origin: str) -> None:
    with pytest.raises(UsageError):
        Public(origin)


@pytest.mark.parametrize("origin", ["https://practice.example", "https://practice.example:8443", "http://127.0.0.1:1"])
def test_an_address_with_tls_or_on_loopback_is_taken(origin: str) -> None:
    assert Public(origin).secure is origin.startswith("https")


def test_no_server_is_started_without_accounts(tmp_path: Path) -> None:
    arguments = ["serve", "--origin", "https://x.example", "--database", str(tmp_path / "a.sqlite3")]
    done = CliRunner().invoke(app, arguments)
    assert isinstance(done.exception, UsageError)
    assert "crownsole people add" in str(done.exception)


def test_passwords_have_one_spelling() -> None:
    """A letter with its accent in one sign or in two is the same password (NFKC)."""
    assert accepted("cafe\u0301 au lait again", "x") == accepted("caf\u00e9 au lait again", "x")


SIGHT = [
    ("learner", "L-1", "L-1", False, True),
    ("learner", "L-1", "L-2", False, False),
    ("learner", "L-1", None, False, False),
    ("learner", None, None, False, False),
    ("learner", "L-1", "l-1", False, False),
    ("learner", "L-1", "L-1", True, False),
    ("educator", None, "L-1", False, True),
    ("educator", None, None, False, True),
    ("educator", None, "L-1", True, False),
    ("administrator", None, "L-1", False, False),
    ("administrator", None, None, False, False),
]


@pytest.mark.parametrize(("role", "own", "learner", "disabled", "seen"), SIGHT)
def test_who_sees_whose_runs(role: str, own: str | None, learner: str | None, disabled: bool, seen: bool) -> None:
    assert may_see_learner(Person(1, "x", role, own, disabled), learner) is seen  # type: ignore[arg-type]
