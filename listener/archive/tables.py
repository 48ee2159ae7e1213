"""The tables: run, event, sound, whose a run is, its figures, which runs were removed; and the people of a school.

The migrations make them.
"""

from __future__ import annotations

from sqlalchemy import BigInteger, ForeignKey, Index, LargeBinary, Text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


class Base(DeclarativeBase):
    """The schema of the archive."""


class RunRow(Base):
    """``head`` is the canonical JSON of :class:`listener.archive.events.Head`."""

    __tablename__ = "run"
    __table_args__ = ({"sqlite_autoincrement": True},)

    key: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(Text, unique=True)
    head: Mapped[str] = mapped_column(Text)
    hash: Mapped[str] = mapped_column(Text)


class EventRow(Base):
    """``body`` is canonical JSON as text, since the hash stands over its letters."""

    __tablename__ = "event"

    run: Mapped[int] = mapped_column(ForeignKey("run.key", ondelete="CASCADE"), primary_key=True, autoincrement=False)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    kind: Mapped[str] = mapped_column(Text)
    at: Mapped[str] = mapped_column(Text)
    body: Mapped[str] = mapped_column(Text)
    hash: Mapped[str] = mapped_column(Text)


class AudioRow(Base):
    """Sound in FLAC, at most one second a row."""

    __tablename__ = "audio_segment"

    run: Mapped[int] = mapped_column(ForeignKey("run.key", ondelete="CASCADE"), primary_key=True, autoincrement=False)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    start: Mapped[int]
    samples: Mapped[int]
    sha256: Mapped[str] = mapped_column(Text)
    data: Mapped[bytes] = mapped_column(LargeBinary)


class AssignmentRow(Base):
    """Whose run it is, and which attempt; of several rows of a run the last stands."""

    __tablename__ = "assignment"
    __table_args__ = (Index("assignment_learner", "learner", "run"),)

    run: Mapped[int] = mapped_column(ForeignKey("run.key", ondelete="CASCADE"), primary_key=True, autoincrement=False)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    learner: Mapped[str | None] = mapped_column(Text)
    attempt: Mapped[int | None]
    by: Mapped[str] = mapped_column(Text)
    at: Mapped[str] = mapped_column(Text)


class SummaryRow(Base):
    """The figures of a run as canonical JSON; ``basis`` is the hash of the last event they were computed from."""

    __tablename__ = "summary"

    run: Mapped[int] = mapped_column(ForeignKey("run.key", ondelete="CASCADE"), primary_key=True, autoincrement=False)
    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    basis: Mapped[str] = mapped_column(Text)
    scheme: Mapped[str] = mapped_column(Text)
    lexicon: Mapped[str] = mapped_column(Text)
    at: Mapped[str] = mapped_column(Text)
    body: Mapped[str] = mapped_column(Text)


class RemovalRow(Base):
    """Writing a row here removes the run with this key; the row stays and holds nothing that was said."""

    __tablename__ = "removal"

    run: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    id: Mapped[str] = mapped_column(Text)
    at: Mapped[str] = mapped_column(Text)


class PersonRow(Base):
    """An account of the server mode. ``password`` is an argon2 hash; None: nobody can sign in with it yet."""

    __tablename__ = "person"
    __table_args__ = ({"sqlite_autoincrement": True},)

    key: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    name: Mapped[str] = mapped_column(Text, unique=True)
    role: Mapped[str] = mapped_column(Text)
    learner: Mapped[str | None] = mapped_column(Text)
    password: Mapped[str | None] = mapped_column(Text)
    disabled: Mapped[bool]
    at: Mapped[str] = mapped_column(Text)


class SignInRow(Base):
    """Someone who is signed in; ``token`` is a hash of what the browser holds, times are seconds since 1970."""

    __tablename__ = "sign_in"

    token: Mapped[str] = mapped_column(Text, primary_key=True)
    person: Mapped[int] = mapped_column(ForeignKey("person.key", ondelete="CASCADE"), index=True)
    begun: Mapped[int] = mapped_column(BigInteger)
    seen: Mapped[int] = mapped_column(BigInteger)


class FailureRow(Base):
    """Tries to sign in that failed, of a name or from an address (hashed), and until when it is shut out."""

    __tablename__ = "failure"

    subject: Mapped[str] = mapped_column(Text, primary_key=True)
    tries: Mapped[int]
    since: Mapped[int] = mapped_column(BigInteger)
    until: Mapped[int] = mapped_column(BigInteger)


class AccessRow(Base):
    """Who did what, when and from where; never what was said in a run."""

    __tablename__ = "access"
    __table_args__ = ({"sqlite_autoincrement": True},)

    number: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    at: Mapped[str] = mapped_column(Text)
    who: Mapped[str] = mapped_column(Text)
    what: Mapped[str] = mapped_column(Text)
    run: Mapped[str | None] = mapped_column(Text)
    outcome: Mapped[str] = mapped_column(Text)
    address: Mapped[str] = mapped_column(Text)
