"""The tables: run, event, audio segment, and which runs were removed. The migrations make them."""

from __future__ import annotations

from sqlalchemy import ForeignKey, LargeBinary, Text
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


class RemovalRow(Base):
    """Writing a row here removes the run with this key; the row stays and holds nothing that was said."""

    __tablename__ = "removal"

    run: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    id: Mapped[str] = mapped_column(Text)
    at: Mapped[str] = mapped_column(Text)
