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
