"""A live run in a terminal: a view that fills as the run is spoken; in a pipe, plain lines as things happen."""

from __future__ import annotations

import signal
from collections import deque
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import TYPE_CHECKING, Any, TextIO

from listener.archive.events import Event
from listener.errors import HearingError, SoundError, StorageError
from listener.levels import Block
from listener.session import Partial, Session
from listener.sound import RATE
from listener.wording import clock, in_words, title
from parser.audit.completeness import coverage
from parser.record import Entry, Record

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.live import Live

#: Seconds of sound in which an end that was said can be taken back by voice.
GRACE_S = 8.0
_MARKS = {"documented": "●", "partial": "◐", "missing": "○"}
_NARROW = 70
_SHOWN = 12


def listen(session: Session, blocks: Iterable[Block]) -> Record:
    """Feed a session until its sound ends, its end is said, or Ctrl-C; then close it.

    When the sound breaks off (an unplugged microphone), what was recorded is kept and the run stays open to be gone
    on with. Raises :class:`StorageError`, :class:`SoundError`, :class:`HearingError`.
    """
    how, over = "the sound ended", 0
    try:
        with _polite() as stop:
            for block in stop.each(blocks):
                session.feed(block)
                over = over + len(block) if session.state.finished else 0
                if over > GRACE_S * RATE:
                    break
            how = "stopped by hand" if stop.asked else how
    except (SoundError, HearingError, StorageError) as error:
        session.abandon()
        kept = "" if isinstance(error, StorageError) else "What was recorded is kept. "
        raise type(error)(f"{error} {kept}Go on with: crownsole live --terminal --run {session.id}") from None
    except BaseException:
        session.abandon()
        raise
    return session.close(how)


def read(session: Session, lines: Iterable[str]) -> Record:
    """Feed a session typed words, an utterance a line, then close it."""
    try:
        for line in lines:
            session.type(line)
    except BaseException:
        session.abandon()
        raise
    return session.close("the words ended")


@contextmanager
def shown(session: Session, out: TextIO) -> Iterator[None]:
    """Show a session on ``out`` while it goes on: a view on a terminal, else lines."""
    if not out.isatty():
        unwatch = session.watch(Lines(session, out))
        try:
            yield
        finally:
            unwatch()
        return
    from rich.console import Console
    from rich.live import Live

    console = Console(file=out)
    with Live(console=console, auto_refresh=False, screen=True) as live:
        view = View(session, live, console)
        view.draw()
        unwatch = session.watch(view)
        try:
            yield
        finally:
            unwatch()


class Lines:
    """Events as plain lines, as they are kept."""

    def __init__(self, session: Session, out: TextIO) -> None:
        self._session = session
        self._out = out

    def __call__(self, told: Event | Partial) -> None:
        line = described(told, self._session)
        if line:
            self._out.write(line + "\n")
            self._out.flush()


class View:
    """The strip of stations from crown to sole, beside what was heard and filed last."""

    def __init__(self, session: Session, live: Live, console: Any) -> None:
        self._session = session
        self._live = live
        self._console = console
        self._lines: deque[str] = deque(maxlen=_SHOWN)
        self._partial = ""
        self._covered = self._coverage()

    def __call__(self, told: Event | Partial) -> None:
        if isinstance(told, Partial):
            self._partial = told.text
        else:
            line = described(told, self._session)
            self._lines += [line.replace("        ", "  ", 1)] if line else []
            if told.kind == "utterance":
                self._partial = ""
            if told.kind in ("statement", "amendment", "confirmation"):
                self._covered = self._coverage()
        self.draw()

    def draw(self) -> None:
        self._live.update(self._page(), refresh=True)

    def _coverage(self) -> dict[str, str]:
        state = self._session.state
        return {r: how for r, (how, _) in coverage(state.entries(), state.lexicon, state.head.checklist).items()}

    def _page(self) -> RenderableType:
        from rich.console import Group
        from rich.table import Table
        from rich.text import Text

        state = self._session.state
        status = "ended" if state.finished else "paused" if state.paused else "recording"
        head = Text(f"{clock(self._session.seconds)}  {status}", style="bold")
        if state.counting_from is not None:
            head.append(f"   counting {clock(self._session.seconds - state.counting_from)}")
        said = Text("\n".join(self._lines))
        right = Group(head, Text(), said, Text(self._partial, style="italic"))
        if self._console.width < _NARROW:
            return right
        table = Table.grid(padding=(0, 3))
        table.add_row(self._strip(), right)
        return table

    def _strip(self) -> RenderableType:
        from rich.text import Text

        state = self._session.state
        strip = Text()
        for region in state.lexicon.region_order:
            here = region == state.situation.region
            mark = _MARKS[self._covered.get(region, "missing")]
            strip.append(
                f"{'>' if here else ' '} {mark} {title(region, state.lexicon)}\n", style="bold" if here else ""
            )
        return strip


def described(told: Event | Partial, session: Session) -> str:
    """What happened, as one line; empty for what needs no telling."""
    if isinstance(told, Partial):
        return ""
    body = told.body
    if told.kind == "utterance":
        words = body["words"]
        return f'{clock(words[0][2] if words else None):>6}  "{body["text"]}"'
    if told.kind == "statement":
        entry = Entry.model_validate(body["entry"])
        confirm = f"  [confirm: {entry.confirm}]" if entry.confirm else ""
        return f"        {title(body['region'], session.lexicon)}: {in_words(entry)}{confirm}"
    if told.kind == "amendment" and body["entry"] is None:
        gone = {entry.id: entry for _, entry in session.state.filing.entries}[body["supersedes"]]
        return f"        taken back: {in_words(gone)}"
    if told.kind == "direction" and body["answer"]:
        return f"        > {body['answer']}"
    if told.kind in ("remark", "resumption") and body.get("text"):
        return f"        ({body['text']})"
    return ""


def farewell(session: Session) -> str:
    """Where the run is kept, for the end."""
    long = f"{clock(session.seconds)} of sound, {len(session.state.utterances)} utterances"
    return f"Run {session.id} is kept: {long}. See it with: crownsole runs show {session.id}"


class _Stop:
    """Ctrl-C between two blocks: never in the middle of keeping something."""

    def __init__(self) -> None:
        self.asked = False
        self._waiting = False

    def handle(self, number: int, frame: FrameType | None) -> None:
        if self.asked:
            raise KeyboardInterrupt
        self.asked = True
        if self._waiting:
            raise _Asked

    def each(self, blocks: Iterable[Block]) -> Iterator[Block]:
        source = iter(blocks)
        while not self.asked:
            try:
                self._waiting = True
                block = next(source)
                self._waiting = False
            except (StopIteration, _Asked):
                return
            finally:
                self._waiting = False
            yield block


class _Asked(BaseException):
    """Leaves the wait for sound."""


@contextmanager
def _polite() -> Iterator[_Stop]:
    stop = _Stop()
    try:
        before = signal.signal(signal.SIGINT, stop.handle)
    except ValueError:  # not the main thread: Ctrl-C does not come here
        yield stop
        return
    try:
        yield stop
    finally:
        signal.signal(signal.SIGINT, before)
