"""How work shows its progress: a callback, and a bar on standard error that serves as one."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol


class Progress(Protocol):
    """Told of progress: the step in words, how much is done, and of how much (None: not known)."""

    def __call__(self, step: str, done: float = 0.0, total: float | None = None) -> None: ...


def silent(step: str, done: float = 0.0, total: float | None = None) -> None:
    """A progress that shows nothing."""


@contextmanager
def bar() -> Iterator[Progress]:
    """A bar on standard error; where that is no terminal, one plain line for each new step."""
    if not sys.stderr.isatty():
        yield _Lines()
        return
    from rich import progress as rich
    from rich.console import Console

    columns = (rich.TextColumn("{task.description}", markup=False), rich.BarColumn(), rich.TaskProgressColumn(),
               rich.TimeElapsedColumn())
    with rich.Progress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task("", total=None, visible=False)

        def tell(step: str, done: float = 0.0, total: float | None = None) -> None:
            shown.update(task, description=step, completed=done, total=total, visible=True)

        yield tell


class _Lines:
    def __init__(self) -> None:
        self._step = ""

    def __call__(self, step: str, done: float = 0.0, total: float | None = None) -> None:
        if step != self._step:
            self._step = step
            print(step, file=sys.stderr, flush=True)
