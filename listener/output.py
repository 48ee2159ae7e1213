"""Writes results: to standard output, or to a file that appears only when it is complete."""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

from listener.errors import StorageError, UsageError


def emit(content: str | bytes, output: Path | None, *, force: bool = False) -> None:
    """Write ``content`` to ``output``, or to standard output when it is None.

    A file is written aside and then moved, so that an interruption leaves no half of it. An existing
    file is kept unless ``force``. Raises :class:`UsageError` and :class:`StorageError`.
    """
    data = content.encode() if isinstance(content, str) else content
    if output is None:
        if isinstance(content, bytes) and sys.stdout.isatty():
            raise UsageError("This format is not text. Name a file for it with -o.")
        try:
            sys.stdout.buffer.write(data if data.endswith(b"\n") or isinstance(content, bytes) else data + b"\n")
            sys.stdout.flush()
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return
    if output.is_dir():
        raise StorageError(f"{output} is a folder. Name a file in it.")
    if output.exists() and not force:
        raise StorageError(f"{output} exists already. Use --force to write over it.")
    _write_aside(data, output)


def _write_aside(data: bytes, output: Path) -> None:
    name = ""
    try:
        with tempfile.NamedTemporaryFile(dir=output.parent, prefix=f".{output.name}.", delete=False) as stream:
            name = stream.name
            stream.write(data)
        os.chmod(name, 0o644)
        os.replace(name, output)
    except OSError as error:
        raise StorageError(f"{output} cannot be written ({error.strerror or error}).") from None
    finally:
        if name and os.path.exists(name):
            os.unlink(name)
