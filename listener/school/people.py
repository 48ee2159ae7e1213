"""The people of a school: learners, educators and administrators, and what each may see.

:func:`may_see` is the one place that decides about runs.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, get_args

from sqlalchemy import Connection, Row, delete, insert, select, update

from listener.archive import Archive, RunInfo
from listener.archive.tables import PersonRow, SignInRow
from listener.archive.whose import whose
from listener.archive.writing import stamp
from listener.errors import InputError, UsageError
from listener.school.passwords import Passwords, accepted

Role = Literal["learner", "educator", "administrator"]
ROLES: tuple[Role, ...] = get_args(Role)
_LONGEST_NAME = 60


@dataclass(frozen=True, slots=True)
class Person:
    """An account. ``learner`` is the name or code under which a learner's runs are kept; None for the others."""

    key: int
    name: str
    role: Role
    learner: str | None
    disabled: bool = False
    has_password: bool = True


def may_see(person: Person, run: RunInfo) -> bool:
    """Whether a person may see a run, with all there is of it: the one rule for every page that names a run."""
    return may_see_learner(person, run.learner)


def may_see_learner(person: Person, learner: str | None) -> bool:
    """Educators see all runs, learners their own, administrators none: they keep accounts."""
    if person.disabled:
        return False
    if person.role == "educator":
        return True
    return person.role == "learner" and person.learner is not None and learner == person.learner


def may_judge(person: Person, run: RunInfo) -> bool:
    """Whether a person may give points for a run, or remove it for good: educators."""
    return person.role == "educator" and may_see(person, run)


def named(name: str) -> str:
    """A name of an account in its one spelling. Raises :class:`UsageError`."""
    one = unicodedata.normalize("NFKC", name).strip().casefold()
    if not 1 <= len(one) <= _LONGEST_NAME or not one.isprintable() or any(sign.isspace() for sign in one):
        raise UsageError(f"The name of an account has 1 to {_LONGEST_NAME} characters and no spaces.")
    return one


@dataclass(slots=True)
class People:
    """The accounts of an archive."""

    archive: Archive
    passwords: Passwords = field(default_factory=Passwords)

    def add(self, name: str, role: str, learner: str | None = None, password: str | None = None) -> Person:
        """A new account. A learner's runs are those kept under ``learner``, or under the name of the account.

        Raises :class:`UsageError`.
        """
        one, of = named(name), _learner(role, learner, name)
        kept = self.passwords.hashed(accepted(password, one)) if password is not None else None
        values = {"name": one, "role": role, "learner": of, "password": kept, "disabled": False,
                  "at": stamp(self.archive.clock())}
        with self.archive.writing() as connection:
            if connection.execute(select(PersonRow.key).where(PersonRow.name == one)).first() is not None:
                raise UsageError(f"There is an account '{one}' already.")
            _alone(connection, of, one)
            connection.execute(insert(PersonRow).values(**values))
        return self.get(one)

    def all(self) -> tuple[Person, ...]:
        """All accounts, by name."""
        with self.archive.reading() as connection:
            rows = connection.execute(select(PersonRow.__table__).order_by(PersonRow.name))
            return tuple(person_of(row) for row in rows)

    def get(self, name: str) -> Person:
        """Raises :class:`InputError` when there is none."""
        row = self._row(named(name))
        if row is None:
            raise InputError(f"There is no account '{name}'. List them with: crownsole people list")
        return person_of(row)

    def set_password(self, name: str, password: str) -> None:
        """A new password; whoever was signed in with the old one is signed out. Raises :class:`UsageError`."""
        person = self.get(name)
        self._change(person, password=self.passwords.hashed(accepted(password, person.name)))

    def set_role(self, name: str, role: str, learner: str | None = None) -> Person:
        """Another role, from the next request on. Raises :class:`UsageError`."""
        person = self.get(name)
        self._change(person, role=role, learner=_learner(role, learner, person.name))
        return self.get(name)

    def disable(self, name: str, disabled: bool = True) -> Person:
        """Shut an account, which signs it out, or open it again."""
        self._change(self.get(name), disabled=disabled)
        return self.get(name)

    def check(self, name: str, password: str) -> Person | None:
        """The person with this name and password; None for any other, after the same work. Never raises for a name."""
        try:
            row = self._row(named(name))
        except UsageError:
            row = None
        usable = row is not None and not row.disabled
        fits = self.passwords.fits(row.password if row is not None and usable else None, password)
        if row is None or not fits:
            return None
        if self.passwords.is_old(row.password):
            self._rehash(row.key, row.password, password)
        return person_of(row)

    def _rehash(self, key: int, old: str, password: str) -> None:
        kept = self.passwords.hashed(unicodedata.normalize("NFKC", password))
        with self.archive.writing() as connection:
            connection.execute(
                update(PersonRow).where(PersonRow.key == key, PersonRow.password == old).values(password=kept)
            )

    def _row(self, name: str) -> Row[Any] | None:
        with self.archive.reading() as connection:
            return connection.execute(select(PersonRow.__table__).where(PersonRow.name == name)).first()

    def _change(self, person: Person, **values: Any) -> None:
        """Change an account and sign it out everywhere, at once."""
        with self.archive.writing() as connection:
            _alone(connection, values.get("learner"), person.name)
            connection.execute(update(PersonRow).where(PersonRow.key == person.key).values(**values))
            sign_out_all(connection, [person.key])


def _alone(connection: Connection, learner: str | None, name: str) -> None:
    """A learner's runs are seen by one account. Raises :class:`UsageError`."""
    asked = select(PersonRow.name).where(PersonRow.learner == learner, PersonRow.name != name)
    if learner is not None and (other := connection.execute(asked).scalar()) is not None:
        raise UsageError(f"The runs of learner '{learner}' belong to the account '{other}' already.")


def sign_out_all(connection: Connection, people: Sequence[int]) -> None:
    connection.execute(delete(SignInRow).where(SignInRow.person.in_(people)))


def _learner(role: str, learner: str | None, name: str) -> str | None:
    if role not in ROLES:
        raise UsageError(f"There is no role '{role}'. Roles are: {', '.join(ROLES)}.")
    if role != "learner":
        if learner is not None:
            raise UsageError("Only a learner's account names a learner.")
        return None
    return whose(learner or name, None).learner


def person_of(row: Row[Any]) -> Person:
    return Person(row.key, row.name, row.role, row.learner, bool(row.disabled), row.password is not None)
