"""Who is signed in, and who may try: sessions kept by the server, and limits on tries that failed.

A session is a random secret in a cookie; the archive holds its hash alone. It ends after an hour without use, after
twelve hours in any case, at sign-out, and with every change of the account. Tries are limited by name together with
address, by address, and by name: OWASP's advice against guessing and against shutting others out (from memory).
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Callable
from dataclasses import dataclass, field

from sqlalchemy import Connection, Executable, delete, insert, select, update
from sqlalchemy.dialects import postgresql, sqlite

from listener.archive import Archive
from listener.archive.tables import FailureRow, PersonRow, SignInRow
from listener.errors import UsageError
from listener.school.people import People, Person, named, person_of

IDLE_S, LONGEST_S = 3600, 12 * 3600
#: How often the time of the last use is written.
_STEP_S = 60

#: Failures older than any window.
_FORGOTTEN_S = 7200

Now = Callable[[], float]


@dataclass(frozen=True, slots=True)
class Limit:
    """So many failures within ``window_s`` shut out for ``shut_s``."""

    failures: int
    window_s: int
    shut_s: int


#: By name and address together, by address, by name.
PAIR, ADDRESS, NAME = Limit(5, 900, 300), Limit(30, 900, 900), Limit(50, 3600, 900)


@dataclass(frozen=True, slots=True)
class SignedIn:
    """A person with the token of their session and the token that every change must carry."""

    person: Person
    token: str

    @property
    def proof(self) -> str:
        return hmac.new(self.token.encode(), b"crownsole change", hashlib.sha256).hexdigest()


@dataclass(slots=True)
class SignIns:
    """Sessions of an archive's people. ``now`` gives seconds since 1970."""

    archive: Archive
    now: Now

    def begin(self, person: Person, old: str | None = None) -> SignedIn:
        """A new session with a secret of its own; an ``old`` one of the same browser ends."""
        token, moment = secrets.token_urlsafe(32), int(self.now())
        with self.archive.writing() as connection:
            if old is not None:
                connection.execute(delete(SignInRow).where(SignInRow.token == _hash(old)))
            connection.execute(delete(SignInRow).where(SignInRow.begun < moment - LONGEST_S))
            connection.execute(delete(SignInRow).where(SignInRow.seen < moment - IDLE_S))
            connection.execute(
                insert(SignInRow).values(token=_hash(token), person=person.key, begun=moment, seen=moment)
            )
        return SignedIn(person, token)

    def find(self, token: str) -> SignedIn | None:
        """Who holds a session, as they are now; None when it has ended, or the account is shut."""
        moment = int(self.now())
        asked = (
            select(PersonRow.__table__, SignInRow.begun, SignInRow.seen)
            .join_from(SignInRow, PersonRow, SignInRow.person == PersonRow.key)
            .where(SignInRow.token == _hash(token))
        )
        with self.archive.reading() as connection:
            row = connection.execute(asked).first()
        if row is None or row.disabled or row.seen <= moment - IDLE_S or row.begun <= moment - LONGEST_S:
            return None
        if row.seen <= moment - _STEP_S:
            with self.archive.writing() as connection:
                connection.execute(update(SignInRow).where(SignInRow.token == _hash(token)).values(seen=moment))
        return SignedIn(person_of(row), token)

    def end(self, token: str) -> None:
        with self.archive.writing() as connection:
            connection.execute(delete(SignInRow).where(SignInRow.token == _hash(token)))


@dataclass(slots=True)
class Door:
    """Lets people in: checks name and password under the limits. What it answers and how long it takes is the same
    for a wrong password, an account that is not there, one that is shut, and one that is shut out.
    """

    people: People
    now: Now
    limits: tuple[Limit, Limit, Limit] = field(default=(PAIR, ADDRESS, NAME))

    def enter(self, name: str, password: str, address: str) -> Person | None:
        """The person, or None. A try is counted before it is checked: many at once gain nothing."""
        subjects = self._subjects(name, address)
        with self.people.archive.writing() as connection:
            open_ = self._count(connection, subjects)
        person = self.people.check(name, password)
        if person is None or not open_:
            return None
        with self.people.archive.writing() as connection:
            self._forgive(connection, *(subject for subject, _ in subjects))
        return person

    def is_shut(self, address: str) -> bool:
        """Whether an address is shut out altogether; then nothing more is computed for it."""
        asked = select(FailureRow.subject).where(
            FailureRow.subject == _hash(f"address {address}"), FailureRow.until > int(self.now())
        )
        with self.people.archive.reading() as connection:
            return connection.execute(asked).first() is not None

    def _subjects(self, name: str, address: str) -> list[tuple[str, Limit]]:
        try:
            one = named(name)
        except UsageError:
            one = name[:200].casefold()
        texts = (f"pair {one} {address}", f"address {address}", f"name {one}")
        return [(_hash(text), limit) for text, limit in zip(texts, self.limits, strict=True)]

    def _count(self, connection: Connection, subjects: list[tuple[str, Limit]]) -> bool:
        """Count a try of each subject; whether none of them is shut out. Rows are always locked in the same order."""
        moment = int(self.now())
        connection.execute(delete(FailureRow).where(FailureRow.since < moment - _FORGOTTEN_S,
                                                    FailureRow.until <= moment))
        open_ = True
        for subject, limit in subjects:
            connection.execute(_insert(connection, subject, moment))
            here = FailureRow.subject == subject
            asked = select(FailureRow.tries, FailureRow.since, FailureRow.until).where(here).with_for_update()
            tries, since, until = connection.execute(asked).one()
            if until > moment:
                open_ = False
                continue
            if since <= moment - limit.window_s:
                tries, since = 0, moment
            shut = moment + limit.shut_s if tries + 1 >= limit.failures else 0
            connection.execute(update(FailureRow).where(here).values(tries=tries + 1, since=since, until=shut))
        return open_

    def _forgive(self, connection: Connection, pair: str, address: str, name: str) -> None:
        """A try that was right was no failure."""
        connection.execute(delete(FailureRow).where(FailureRow.subject.in_([pair, name])))
        connection.execute(
            update(FailureRow)
            .where(FailureRow.subject == address, FailureRow.tries > 0)
            .values(tries=FailureRow.tries - 1, until=0)
        )


def _insert(connection: Connection, subject: str, moment: int) -> Executable:
    """Makes a row for a subject where there is none."""
    row = {"subject": subject, "tries": 0, "since": moment, "until": 0}
    if connection.dialect.name == "sqlite":
        return sqlite.insert(FailureRow).values(**row).on_conflict_do_nothing()
    return postgresql.insert(FailureRow).values(**row).on_conflict_do_nothing()


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()
