"""Where the archive is, how its database is opened, and what its errors mean in a sentence."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError

from listener.errors import StorageError

#: Says where the archive is: a path of a file, or a URL of a PostgreSQL database.
VARIABLE = "CROWNSOLE_ARCHIVE"
_BUSY_MS = 5000
_POSTGRES = ("postgresql", "postgres", "postgresql+psycopg")

#: Parts of the databases' own messages, and what they mean to a person.
_MEANINGS: tuple[tuple[tuple[str, ...], str], ...] = (
    (
        ("disk is full", "no space left", "disk full"),
        "There is no room left on the disk of {place}. What was recorded up to now is kept. Make room and go on.",
    ),
    (
        ("readonly", "read-only", "permission denied"),
        "{place} cannot be written: it is read-only. What it holds is unharmed. Allow writing, or name another place.",
    ),
    (
        ("not a database", "malformed", "corrupt", "file is encrypted"),
        "{place} is damaged or no archive. It was left as it is. Put it aside and begin anew, or bring back a copy.",
    ),
    (("is locked", "lock timeout", "busy"), "{place} is busy: another program is writing to it. Try again."),
    (("unable to open",), "{place} cannot be opened. Check that its folder is there and that you may write in it."),
    (
        ("only grows", "only a whole run", "follow one another"),
        "{place} only grows: rows are never changed, and runs leave whole.",
    ),
    (("here already", "unique constraint", "duplicate key"), "This run is in {place} already."),
    (
        ("password", "authentication", "role"),
        "{place} does not let this user in. Check the name and the password in its URL.",
    ),
    (
        ("refused", "could not connect", "connection", "closed", "terminat", "does not exist", "resolve"),
        "{place} cannot be reached. Check that it runs and that its URL is right. What was recorded is kept there.",
    ),
    (("disk i/o",), "The disk of {place} failed. What was recorded up to now is kept as far as the disk kept it."),
)


def whereabouts(place: str | Path | None = None) -> URL:
    """The URL of the archive: as given, else from the environment, else the user's data folder.

    Raises :class:`StorageError` for a URL of a kind we do not store in.
    """
    named = str(place or os.environ.get(VARIABLE) or "")
    if "://" not in named:
        return URL.create("sqlite", database=str(Path(named).expanduser().absolute() if named else _usual()))
    try:
        url = make_url(named)
    except (ArgumentError, ValueError):
        raise StorageError(
            "The URL of the archive cannot be read. Write postgresql://NAME@HOST/DATABASE, or a path."
        ) from None
    if url.drivername in _POSTGRES:
        return url.set(drivername="postgresql+psycopg")
    if url.drivername == "sqlite" and url.database and url.database != ":memory:":
        return URL.create("sqlite", database=str(Path(url.database).absolute()))
    raise StorageError(
        f"Runs are kept in SQLite or PostgreSQL, not in '{url.drivername}'. Name a file or a postgresql:// URL."
    )


def _usual() -> Path:
    from platformdirs import user_data_path

    return user_data_path("crownsole", appauthor=False) / "archive.sqlite3"


def named(url: URL) -> str:
    """The archive in words, without a password."""
    if url.drivername == "sqlite":
        return f"The archive {url.database}"
    return f"The archive {url.set(drivername='postgresql').render_as_string(hide_password=True)}"


def connected(url: URL) -> Engine:
    """An engine for the archive; a file and its folder are made, for this user alone. Raises :class:`StorageError`."""
    try:
        if url.drivername == "sqlite":
            return _sqlite(url)
        import psycopg  # noqa: F401

        return create_engine(url, hide_parameters=True, pool_pre_ping=True, connect_args={"connect_timeout": 10})
    except (ImportError, NoSuchModuleError):
        raise StorageError(
            "PostgreSQL needs one more package. Install it with: pip install 'crownsole[postgres]'"
        ) from None


def _sqlite(url: URL) -> Engine:
    path = Path(str(url.database))
    _make(path)
    engine = create_engine(url, hide_parameters=True, creator=lambda: _connect(path))

    @event.listens_for(engine, "connect")
    def configure(connection: sqlite3.Connection, _: object) -> None:
        connection.isolation_level = None
        cursor = connection.cursor()
        for pragma in (
            f"busy_timeout={_BUSY_MS}",
            "foreign_keys=ON",
            "secure_delete=ON",
            "journal_mode=WAL",
            "synchronous=FULL",
        ):
            try:
                cursor.execute(f"PRAGMA {pragma}")
            except sqlite3.OperationalError:
                if not pragma.startswith("journal"):  # a store that cannot be written can still be read
                    raise
        cursor.close()

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        reading = connection.get_execution_options().get("reading", False)
        connection.exec_driver_sql("BEGIN" if reading else "BEGIN IMMEDIATE")

    return engine


def _connect(path: Path) -> sqlite3.Connection:
    """A connection; to a file that cannot be written one that does not try (a WAL file needs room beside it)."""
    mode = ""
    if not os.access(path, os.W_OK):
        mode = "?mode=ro" if Path(f"{path}-wal").exists() else "?immutable=1"
    return sqlite3.connect(path.as_uri() + mode, uri=True, timeout=_BUSY_MS / 1000, check_same_thread=False)


def _make(path: Path) -> None:
    try:
        if path.is_dir():
            raise StorageError(f"{path} is a folder. Name a file in it with --archive.")
        if not path.parent.is_dir():
            path.parent.mkdir(parents=True, mode=0o700)
        if not path.exists():
            os.close(os.open(path, os.O_CREAT | os.O_WRONLY, 0o600))
    except OSError as error:
        raise StorageError(
            f"The archive {path} cannot be made ({error.strerror or error}). Name another with --archive."
        ) from None


@contextmanager
def told(url: URL) -> Iterator[None]:
    """Errors of the database as :class:`StorageError`; what was said in a run is never in the message."""
    try:
        yield
    except (DBAPIError, sqlite3.Error) as error:
        raise StorageError(meaning(error, url)) from None


def meaning(error: Exception, url: URL) -> str:
    """What an error of the database means, in a sentence or two."""
    said = str(getattr(error, "orig", error) or error).lower()
    place = named(url).replace("The", "the", 1)
    for parts, sentence in _MEANINGS:
        if any(part in said for part in parts):
            told_so = sentence.format(place=place)
            return told_so[0].upper() + told_so[1:]
    return f"The archive failed ({type(getattr(error, 'orig', error)).__name__}). What was recorded up to now is kept."
