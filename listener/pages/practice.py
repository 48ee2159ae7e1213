"""The engine behind the live page: one thread that owns the session, fed by pages, telling every page what happens.

Pages come and go; the run does not depend on them. Everything that touches the session is done in the engine's
thread, in the order it was asked, so that no page waits for the disk or the recogniser.
"""

from __future__ import annotations

import queue
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Any

from listener.archive import Archive, Event
from listener.errors import CrownsoleError, HearingError, InputError, StorageError
from listener.levels import Block
from listener.pages.ears import Hearers, Hears
from listener.pages.live_view import Message, Progress, checklists, progress_of, shown_again, standing_of, told
from listener.pages.trial import Trial
from listener.runs import Options, lexicon_of
from listener.session import Partial, Session

Tell = Callable[[Message], None]

#: Seconds after an end that was asked for, in which it can be taken back before the run is closed.
GRACE_S = 8.0
_LOG_KEPT = 150
_RUNS_SHOWN = 5
_PROGRESS_EVERY_S = 0.25

#: What a page may ask about one entry; everything else that it may ask are directions.
ENTRY_REQUESTS = frozenset(["confirm", "withdraw_entry", "restore"])


class Practice:
    """One live run after another. Every method may be called from any thread and returns at once.

    ``phase``: preparing (the model is made ready), ready (no run), running, kept (the run was closed), broken (it
    could not be kept or heard any further, and can be gone on with).
    """

    def __init__(
        self, archive: Archive, hearers: Hearers, packs: tuple[str, ...] = (), *, checklist: str = "complete",
        learner: str | None = None, run: str | None = None, grace_s: float = GRACE_S,
    ) -> None:
        self.archive = archive
        self.phase = "preparing"
        self.session: Session | None = None
        self._hearers, self._packs, self._grace_s = hearers, packs, grace_s
        self._checklist, self._learner = checklist, learner
        self._ears: Hears | None = None
        self._trial: Trial | None = None
        self._said = "Starting"
        self._run = run
        self._log: deque[Message] = deque(maxlen=_LOG_KEPT)
        self._tellers: list[Tell] = []
        self._jobs: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._work, name="practice", daemon=True)
        self._progress: Progress | None = None
        self._stale, self._told_progress = False, 0.0
        self._standing: Message = {}
        self._closing_at: float | None = None

    # ------------------------------------------------------------------ from the pages

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Close the run, if there is one, and end the thread."""
        self._do(lambda: self._close("stopped by hand"))
        self._jobs.put(None)
        if self.phase != "preparing":  # what is only being made ready may be left unfinished
            self._thread.join()

    @property
    def run(self) -> str | None:
        """The run that was kept last."""
        return self._run

    @property
    def backlog(self) -> int:
        """Jobs that wait."""
        return self._jobs.qsize()

    def watch(self, tell: Tell) -> Callable[[], None]:
        """Tell everything from now on, beginning with all there is to show; the function returned ends that."""
        tell({"t": "phase", "phase": self.phase, "said": self._said})
        self._tellers.append(tell)
        self._do(lambda: tell(self._everything()))

        def leave() -> None:
            with suppress(ValueError):
                self._tellers.remove(tell)

        return leave

    def sound(self, block: Block, taken: Callable[[float], None]) -> None:
        """Take sound (int16 mono at 16 kHz); ``taken`` is told the seconds of sound of the run, once it was taken."""
        self._do(lambda: self._hear(block, taken))

    def try_out(self, checklist: str, learner: str | None = None) -> None:
        """Hear without keeping, to check the microphone; "recorder begin" begins the run."""
        self._do(lambda: self._try_out(checklist, learner))

    def begin(self, checklist: str, learner: str | None = None) -> None:
        self._do(lambda: self._begin(checklist, learner))

    def go_on(self, run: str) -> None:
        """Go on with a kept run."""
        self._do(lambda: self._go_on(run))

    def again(self) -> None:
        """Leave the run that was kept, for a new one."""
        self._do(self._leave)

    def ask(self, name: str, entry: str | None = None) -> None:
        """Ask for a direction, or something about an entry, by hand."""
        more: dict[str, Any] = {"entry": entry} if name in ENTRY_REQUESTS else {}
        self._do(lambda: self.session.request(name, **more) if self.session else None)

    def type(self, text: str) -> None:
        self._do(lambda: self.session.type(text) if self.session else None)

    def close(self) -> None:
        """Close a run whose end was asked for, without waiting any longer."""
        self._do(lambda: self._close("finished") if self.session and self.session.state.finished else None)

    # ------------------------------------------------------------------ in the engine's thread

    def _do(self, job: Callable[[], None]) -> None:
        self._jobs.put(job)

    def _work(self) -> None:
        self._guarded(self._prepare)
        while True:
            try:
                job = self._jobs.get(timeout=self._patience())
            except queue.Empty:
                job = self._settle
            if job is None:
                return
            self._guarded(job)
            self._guarded(self._settle)

    def _patience(self) -> float | None:
        """How long to wait for a job before there is something to do without one."""
        if self._stale:
            return 0.02
        return None if self._closing_at is None else max(0.0, self._closing_at - time.monotonic())

    def _guarded(self, job: Callable[[], None]) -> None:
        try:
            job()
        except (StorageError, HearingError) as error:
            self._break(error)
        except CrownsoleError as error:
            self._tell({"t": "refused", "said": str(error)})

    def _prepare(self) -> None:
        try:
            self._ears = self._hearers.of(self._packs, self._preparing)
        except CrownsoleError as error:
            self._said = str(error)
            self._ears = Hears(lexicon_of(Options(self._packs)), None, None)
        else:
            self._said = ""
        _warm_up(self._packs)
        self._enter("ready")
        if self._run is not None:
            self._go_on(self._run)

    def _preparing(self, step: str, done: float = 0.0, total: float | None = None) -> None:
        if step != self._said:
            self._said = step
            self._tell({"t": "phase", "phase": "preparing", "said": step})

    def _begin(self, checklist: str, learner: str | None, heard: Sequence[Block] = ()) -> None:
        if self._ears is None or self.session is not None:
            return
        if checklist not in [known["id"] for known in checklists(self._ears.lexicon)]:
            raise InputError("There is no such checklist.")
        ears = self._ears
        source = "page" if ears.listen else "typed words"
        begun = Session.begin(
            self.archive, ears.lexicon, source, ears.listen, checklist=checklist, model=ears.model, learner=learner
        )
        self._open(begun)
        for block in heard:
            self._feed(block)

    def _go_on(self, run: str) -> None:
        if self.session is not None:
            return
        info = self.archive.run(run)
        try:
            ears = self._ears_for(info.head.packs)
            session = Session.go_on(self.archive, info.id, ears.lexicon, ears.listen)
        except CrownsoleError:
            self._enter(self.phase)
            raise
        self._log.clear()
        self._log.extend(shown_again(self.archive.events(info.id), ears.lexicon))
        self._open(session)

    def _ears_for(self, packs: tuple[str, ...]) -> Hears:
        """What hears with these packs; where there is no model, what reads typed words."""
        if self._ears is not None and self._ears.listen is not None:
            return self._hearers.of(packs, self._preparing)
        return Hears(lexicon_of(Options(packs)), None, None)

    def _open(self, session: Session) -> None:
        self._trial = None
        self.session = session
        session.watch(self._happened)
        self._progress = progress_of(session.state)
        self._standing = standing_of(session.state)
        self._enter("running")

    def _close(self, how: str) -> None:
        if self.session is None:
            return
        session, self.session, self._closing_at = self.session, None, None
        self._run = session.id
        session.close(how)
        self._said = ""
        self._enter("kept")

    def _break(self, error: CrownsoleError) -> None:
        session, self.session, self._closing_at = self.session, None, None
        if session is not None:
            self._run = session.id
            session.abandon()
        self._trial = None
        self._said = str(error)
        self._enter("broken")

    def _leave(self) -> None:
        if self.phase in ("kept", "broken"):
            self._run, self._said = None, ""
            self._log.clear()
            self._enter("ready")

    def _enter(self, phase: str) -> None:
        self.phase = phase
        self._tell(self._everything())

    def _hear(self, block: Block, taken: Callable[[float], None]) -> None:
        if self.session is not None:
            self._feed(block)
        elif self._trial is not None:
            asked = self._trial.hear(block)
            if asked is not None:
                self._begin(self._checklist, self._learner, asked)
        taken(self.session.seconds if self.session is not None else 0.0)

    def _feed(self, block: Block) -> None:
        if self.session is not None:
            self.session.feed(block)

    def _try_out(self, checklist: str, learner: str | None) -> None:
        self._checklist, self._learner = checklist, learner
        if self._trial is None and self.session is None and self._ears is not None and self._ears.listen is not None:
            self._trial = Trial(self._ears, self._packs, lambda text, ended: self._tell(
                {"t": "trial", "text": text, "ended": ended}
            ))

    def _happened(self, what: Event | Partial) -> None:
        session = self.session
        if session is None:
            return
        if isinstance(what, Partial):
            self._tell({"t": "partial", "text": what.text})
            return
        message = told(what, session.lexicon)
        if message is not None:
            self._log.append(message)
            self._tell(message)
        self._stale = self._stale or what.kind != "sound"

    def _settle(self) -> None:
        """After each job: where the run stands, how far it is, and whether it is time to close it."""
        session = self.session
        if session is None:
            self._stale = False
            return
        if (standing := standing_of(session.state)) != self._standing:
            self._standing = standing
            self._closing_at = time.monotonic() + self._grace_s if session.state.finished else None
            self._tell({**standing, "seconds": session.seconds, "closes_in": self._closes_in()})
        now = time.monotonic()
        if self._stale and now >= self._told_progress:
            progress = progress_of(session.state)
            self._tell(progress.changed(self._progress))
            self._progress, self._stale = progress, False
            spent = time.monotonic() - now
            self._told_progress = now + max(_PROGRESS_EVERY_S if spent > 0.02 else 0.0, 5 * spent)
        if self._closing_at is not None and now >= self._closing_at and not self._jobs.qsize():
            self._close("finished")

    def _closes_in(self) -> float | None:
        return None if self._closing_at is None else round(max(0.0, self._closing_at - time.monotonic()), 1)

    def _tell(self, message: Message) -> None:
        for tell in tuple(self._tellers):
            tell(message)

    def _everything(self) -> Message:
        """All that a page needs to show, whenever it comes."""
        shown: dict[str, Any] = {"t": "everything", "phase": self.phase, "said": self._said}
        if self.phase == "ready" and self._ears is not None:
            shown["deaf"] = self._said if self._ears.listen is None else ""
            shown["runs"] = self._unfinished()
            shown["checklist"], shown["learner"] = self._checklist, self._learner
        session = self.session
        if session is not None and self._progress is not None:
            shown["progress"] = self._progress.changed(None)
            shown["standing"] = {**self._standing, "seconds": session.seconds, "closes_in": self._closes_in()}
            shown["checklist"] = session.writer.head.checklist
        shown["run"] = session.id if session is not None else self._run
        shown["log"] = list(self._log)
        return shown

    def _unfinished(self) -> list[Message]:
        """Spoken runs that broke off and can be gone on with."""
        broke_off = (info for info in self.archive.runs() if info.status == "interrupted" and info.head.kind == "live")
        return [
            {"id": info.id, "made_at": info.head.made_at, "seconds": info.seconds, "utterances": info.utterances}
            for info, _ in zip(broke_off, range(_RUNS_SHOWN), strict=False)
        ]


def _warm_up(packs: tuple[str, ...]) -> None:
    """Understand something, so that the first words of a run need not wait for what is made at first use."""
    from parser.pipeline import understand
    from parser.statements import Situation
    from parser.transcript import utterances_of_text

    for utterance in utterances_of_text("lungs clear, no wheezes"):
        understand(utterance, Situation(), packs)
