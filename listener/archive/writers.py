"""Who writes to a run: one at a time. The system frees a writer's hold when its process dies, however it dies."""

from __future__ import annotations

import hashlib
import time
from pathlib import Path
from typing import Protocol

from sqlalchemy import Connection, Engine, text
from sqlalchemy.engine import URL
from sqlalchemy.exc import DBAPIError

from listener.errors import StorageError
from listener.locking import Hold, held, take

_TRIES, _BETWEEN_S = 4, 0.02


class Holds(Protocol):
    """Holds on runs, by id."""

    def take(self, run: str) -> None:
        """Hold a run as its one writer. Raises :class:`StorageError` when another holds it."""

    def free(self, run: str) -> None: ...

    def free_all(self) -> None: ...

    def held(self) -> Held: ...

    def forget(self, run: str) -> None:
        """Clear away what a removed run leaves behind."""


class Held(Protocol):
    def __contains__(self, run: object, /) -> bool: ...


def holds_of(engine: Engine, url: URL) -> Holds:
    return _Files(Path(f"{url.database}.writers")) if engine.dialect.name == "sqlite" else _Advisory(engine)


def _taken(run: str) -> StorageError:
    return StorageError(f"Run {run} is being written by another program. Close that one first.")


class _Files:
    """A locked file a run, beside the archive."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._mine: dict[str, Hold] = {}

    def take(self, run: str) -> None:
        if run in self._mine:
            raise _taken(run)
        try:
            hold = self._take(run)
        except OSError as error:
            raise StorageError(f"{self._folder} cannot be written ({error.strerror or error}).") from None
        if hold is None:
            raise _taken(run)
        self._mine[run] = hold

    def _take(self, run: str) -> Hold | None:
        """Tried a few times: whoever asks if a run is held touches its lock for a moment."""
        for _ in range(_TRIES):
            if (hold := take(self._folder / f"{run}.lock")) is not None:
                return hold
            time.sleep(_BETWEEN_S)
        return None

    def free(self, run: str) -> None:
        if run in self._mine:
            self._mine.pop(run).free()

    def free_all(self) -> None:
        for run in tuple(self._mine):
            self.free(run)

    def held(self) -> Held:
        return self

    def __contains__(self, run: object) -> bool:
        return run in self._mine or held(self._folder / f"{run}.lock")

    def forget(self, run: str) -> None:
        (self._folder / f"{run}.lock").unlink(missing_ok=True)


class _Advisory:
    """Advisory locks of PostgreSQL, each on a connection of its own, which the server drops with its process."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._mine: dict[str, Connection] = {}

    def take(self, run: str) -> None:
        connection = self._engine.connect().execution_options(isolation_level="AUTOCOMMIT")
        try:
            got = connection.execute(text("SELECT pg_try_advisory_lock(:key)"), {"key": _key(run)}).scalar()
        except DBAPIError:
            connection.close()
            raise
        if not got:
            connection.close()
            raise _taken(run)
        self._mine[run] = connection

    def free(self, run: str) -> None:
        connection = self._mine.pop(run, None)
        if connection is not None:
            connection.invalidate()  # the lock goes with the connection
            connection.close()

    def free_all(self) -> None:
        for run in tuple(self._mine):
            self.free(run)

    def held(self) -> Held:
        asked = (
            "SELECT (classid::bigint << 32) | objid::bigint FROM pg_locks WHERE locktype = 'advisory' AND objsubid = 1"
        )
        with self._engine.connect() as connection:
            return _Keys({key for (key,) in connection.execute(text(asked))})

    def forget(self, run: str) -> None:
        """Nothing is left behind."""


class _Keys:
    def __init__(self, keys: set[int]) -> None:
        self._keys = keys

    def __contains__(self, run: object) -> bool:
        return _key(str(run)) in self._keys


def _key(run: str) -> int:
    return int.from_bytes(hashlib.sha256(b"crownsole writer " + run.encode()).digest()[:8], "big", signed=True)
