"""A lock between processes, on a file; the system frees it when its holder dies."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO


@contextmanager
def locked(path: Path, waiting: Callable[[], None] | None = None) -> Iterator[None]:
    """Hold the lock of ``path`` (made when absent); ``waiting`` is called once if another process holds it.

    Raises :class:`OSError` when the file cannot be made.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    with open(path, "a+b") as stream:
        told = False
        while not _take(stream):
            if waiting is not None and not told:
                waiting()
            told = True
            time.sleep(0.1)
        try:
            yield
        finally:
            _free(stream)


class Hold:
    """A lock that is held until it is freed or its process dies."""

    def __init__(self, stream: IO[bytes]) -> None:
        self._stream = stream

    def free(self) -> None:
        _free(self._stream)
        self._stream.close()


def take(path: Path) -> Hold | None:
    """Take the lock of ``path`` (made when absent) at once; None when another holds it. Raises :class:`OSError`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    stream = open(path, "a+b")  # noqa: SIM115  (kept open for as long as the lock is held)
    if _take(stream):
        return Hold(stream)
    stream.close()
    return None


def held(path: Path) -> bool:
    """Whether some process holds the lock of ``path``. Works where nothing can be written."""
    try:
        with open(path, "rb") as stream:
            if not _take(stream):
                return True
            _free(stream)
    except OSError:
        return False
    return False


if sys.platform == "win32":
    import msvcrt

    def _take(stream: IO[bytes]) -> bool:
        stream.seek(0)
        try:
            msvcrt.locking(stream.fileno(), msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

    def _free(stream: IO[bytes]) -> None:
        stream.seek(0)
        msvcrt.locking(stream.fileno(), msvcrt.LK_UNLCK, 1)

else:
    import fcntl

    def _take(stream: IO[bytes]) -> bool:
        try:
            fcntl.flock(stream.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    def _free(stream: IO[bytes]) -> None:
        fcntl.flock(stream.fileno(), fcntl.LOCK_UN)
