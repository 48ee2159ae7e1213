"""How work shows its progress: a callback, and a bar on standard error that serves as one."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Protocol


class Progress(Protocol):
    """Told of progress: the step in words, how much is done, and of how much (None: not known)."""

    def __call__(self, step: str, done: float = 0.0, total: float | None = None) -> None: ...


def silent(step: str, done: float = 0.0, total: float | None = None) -> None:
    """A progress that shows nothing."""


@contextmanager
def bar() -> Iterator[Progress]:
    """A bar with the time left on standard error; where that is no terminal, one plain line for each new step."""
    if not sys.stderr.isatty():
        yield _Lines()
        return
    from rich import progress as rich
    from rich.console import Console

    columns = (rich.TextColumn("{task.description}", markup=False), rich.BarColumn(), rich.TaskProgressColumn(),
               rich.TimeElapsedColumn(), rich.TextColumn("{task.fields[left]}", markup=False))
    pace = Pace()
    with rich.Progress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task("", total=None, visible=False, left="")

        def tell(step: str, done: float = 0.0, total: float | None = None) -> None:
            shown.update(task, description=step, completed=done, total=total, visible=True, left=pace.left(done, total))

        yield tell


class Pace:
    """How long a step will take still, from how far it came; another total, or less done, begins anew."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._total: float | None = None
        self._done = self._first = self._began = 0.0

    def left(self, done: float, total: float | None) -> str:
        """The time left in words; empty while it cannot be known."""
        now = self._clock()
        if total != self._total or done < self._done:
            self._total, self._first, self._began = total, done, now
        self._done = done
        if not total or done <= self._first or done >= total:
            return ""
        seconds = round((now - self._began) * (total - done) / (done - self._first))
        if seconds < 60:
            return "under a minute left"
        hours, minutes = divmod(-(-seconds // 60), 60)
        return f"about {hours} h {minutes:02d} min left" if hours else f"about {minutes} min left"


class _Lines:
    def __init__(self) -> None:
        self._step = ""

    def __call__(self, step: str, done: float = 0.0, total: float | None = None) -> None:
        if step != self._step:
            self._step = step
            print(step, file=sys.stderr, flush=True)
