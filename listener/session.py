"""A live run as a sequence of events: one writer, many watchers; the same engine for page, terminal and pipe.

Sound comes in as it is said, in blocks of any length. It is kept before it is heard further, words are kept
before they are shown, and what they mean is kept before it is told: a process that is killed has lost at most
the last :data:`SEGMENT` samples.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol, Self

import numpy as np

from lexicon import Lexicon
from listener.archive import Archive, Event, Writer
from listener.archive.events import INPUTS, Kind
from listener.archive.flac import decoded
from listener.archive.summaries import summarise
from listener.doubt import TOO_LOUD, Room
from listener.errors import StorageError, UsageError
from listener.levels import Block, RunningGain
from listener.replay import State, begun, replayed, utterance_body
from listener.sound import RATE
from listener.wording import clock
from parser.record import ModelInfo, Record
from parser.transcript import Utterance, Word, utterance_of_words, utterances_of_text

#: Samples of a stored piece of sound: half a second, so that a kill costs less than one.
SEGMENT = RATE // 2
_AFTER_WORD_S = 0.1

Words = tuple[Word, ...]


class Hearing(Protocol):
    """What hears a stream, such as :class:`listener.recognizer.HearingStream`; times from the stream's start."""

    def accept(self, block: Block, /) -> Sequence[Words]: ...

    def finish(self) -> Sequence[Words]: ...


@dataclass(frozen=True, slots=True)
class Partial:
    """The words of the utterance that has not ended, as they seem now; for display, kept nowhere."""

    text: str


Watcher = Callable[[Event | Partial], None]

#: Makes the stream that hears a session, such as :meth:`listener.recognizer.Recognizer.stream`; it is given what
#: to tell partial words to.
Listen = Callable[[Callable[[str], None]], Hearing]


class Session:
    """A run being made. All methods may be called from any thread; each returns when its events are on the disk.

    Every method raises :class:`StorageError` when something cannot be kept; the session then takes nothing more,
    and the run can be gone on with later.
    """

    def __init__(self, writer: Writer, state: State, listen: Listen | None = None) -> None:
        self.writer = writer
        self.state = state
        self._hearing = listen(self.show) if listen is not None else None
        self._gain = RunningGain()
        self._room = Room()
        self._waiting = np.zeros(0, dtype=np.int16)
        self._heard_from = writer.seconds
        self._watchers: list[Watcher] = []
        self._lock = threading.RLock()
        self._broken: StorageError | None = None

    @classmethod
    def begin(
        cls,
        archive: Archive,
        lexicon: Lexicon,
        source: str,
        listen: Listen | None = None,
        *,
        checklist: str = "complete",
        model: ModelInfo | None = None,
        learner: str | None = None,
        attempt: int | None = None,
    ) -> Self:
        """A new run."""
        writer = archive.begin(
            "live",
            source,
            lexicon=lexicon.version,
            packs=lexicon.packs,
            checklist=checklist,
            model=model.name if model else None,
            vocabulary=model.vocabulary if model else None,
            learner=learner,
            attempt=attempt,
        )
        return cls(writer, begun(writer.head, lexicon), listen)

    @classmethod
    def go_on(cls, archive: Archive, run: str, lexicon: Lexicon, listen: Listen | None = None) -> Self:
        """Go on with a run that was ended or interrupted. Sound that was kept but not yet understood is heard first."""
        info = archive.run(run)
        if info.head.kind != "live" and listen is not None:
            raise UsageError(f"Run {info.id} was not spoken live; it takes corrections, but no more sound.")
        writer = archive.resume(info.id)
        try:
            state, missing = replayed(writer.head, lexicon, archive.events(info.id))
            session = cls(writer, state, listen)
            session._keep(missing)
            broke_off = info.status != "finished"
            text = f"The run was interrupted after {clock(writer.seconds)} and gone on with." if broke_off else None
            session._keep([("resumption", {"why": "interrupted" if broke_off else "reopened", "text": text})])
            session._hear_again()
            return session
        except BaseException:
            writer.close()
            raise

    @property
    def id(self) -> str:
        return self.writer.head.id

    @property
    def seconds(self) -> float:
        """Seconds of sound taken so far."""
        return self.writer.seconds + len(self._waiting) / RATE

    @property
    def lexicon(self) -> Lexicon:
        return self.state.lexicon

    def watch(self, watcher: Watcher) -> Callable[[], None]:
        """Tell ``watcher`` every event from now on, once it is kept; the function returned ends that.

        Watchers are called in the writer's thread and should be quick; one that raises is told nothing more.
        """
        with self._lock:
            self._watchers.append(watcher)
        return lambda: self._watchers.remove(watcher) if watcher in self._watchers else None

    def show(self, text: str) -> None:
        """Tell the watchers the words so far."""
        self._tell(Partial(text))

    def feed(self, block: Block) -> None:
        """Take sound: int16 mono samples at 16 kHz, shape (n,), as they came from the microphone."""
        with self._lock:
            for at in range(0, len(block), SEGMENT):
                self._feed(block[at : at + SEGMENT])

    def hear(self, words: Sequence[Word]) -> None:
        """Take the words of one utterance, with times in seconds of the run."""
        with self._lock:
            utterance = utterance_of_words(tuple(words), *self._next_place())
            if utterance.words:
                self._store_sound()
                self._keep([("utterance", utterance_body(utterance))])

    def type(self, text: str) -> None:
        """Take typed words, one utterance a line, with their punctuation."""
        with self._lock:
            for typed in utterances_of_text(text):
                number, offset, first = self._next_place()
                by = offset - typed.offset
                words = tuple(replace(word, chars=(word.chars[0] + by, word.chars[1] + by)) for word in typed.words)
                self._keep([("utterance", utterance_body(Utterance(number, words, typed.text, offset, first)))])

    def request(self, name: str, by: str = "page", **more: Any) -> None:
        """Ask for a direction by hand (its id in ``directions.yaml``), or to "amend", "confirm", "withdraw_entry",
        "restore" or "revert" an ``entry``, with ``reason`` and, to amend, ``changes``
        (see :func:`parser.revising.change`).

        What cannot be done is told the watchers as a refused direction.
        """
        with self._lock:
            self._store_sound()
            body = {
                "id": name,
                "by": by,
                "start": round(self.writer.seconds, 3) if self.writer.seconds else None,
                **more,
            }
            self._keep([("request", {**body, **self._meant(more.get("entry"))})])

    def record(self) -> Record:
        """The audited record as it stands now."""
        with self._lock:
            return self.state.record(self.writer.seconds or None)

    def close(self, how: str = "ended") -> Record:
        """End the run: hear the rest, keep the record as it is now filed, and let go of it."""
        with self._lock:
            try:
                self._store_sound()
                for words in self._hearing.finish() if self._hearing is not None else ():
                    self._hear_shifted(words)
                self._hearing = None
                self._keep([("request", {"id": "end", "by": "session", "how": how})])
                record = self.record()
                self._keep([("filed", {"lexicon": self.lexicon.version, "record": record.model_dump_json()})])
                summarise(self.writer, record)
                return record
            finally:
                self.writer.close()

    def abandon(self) -> None:
        """Let go of the run without ending it; it counts as interrupted. Waiting sound is kept, if that can be."""
        with self._lock:
            try:
                if self._broken is None:
                    self._store_sound()
            except StorageError:
                """Told already, by the call that failed first."""
            finally:
                self.writer.close()

    def _feed(self, block: Block) -> None:
        self._waiting = np.concatenate([self._waiting, block])
        while len(self._waiting) >= SEGMENT:
            self._keep_sound(self._waiting[:SEGMENT])
            self._waiting = self._waiting[SEGMENT:]
        if self._hearing is not None:
            for words in self._hearing.accept(self._gain.apply(block)):
                self._hear_shifted(words)

    def _next_place(self) -> tuple[int, int, int]:
        """Number, place in the text and first word of the next utterance."""
        if not self.state.utterances:
            return 1, 0, 0
        last = self.state.utterances[-1]
        return last.number + 1, last.offset + len(last.text) + 1, last.first_word + len(last.words)

    def _hear_shifted(self, words: Words) -> None:
        by = self._heard_from
        words = self._room.take(words)
        self.hear(
            [
                replace(
                    w,
                    start=None if w.start is None else round(w.start + by, 3),
                    end=None if w.end is None else round(w.end + by, 3),
                )
                for w in words
            ]
        )
        if self._room.loud and TOO_LOUD not in self.state.remarks:
            self._keep([("remark", {"about": "sound", "text": TOO_LOUD})])

    def _hear_again(self) -> None:
        """Hear the kept sound after the last kept word: it was being heard when the run broke off."""
        words = self.state.utterances[-1].words if self.state.utterances else ()
        end = (words[-1].end or 0.0) + _AFTER_WORD_S if words else 0.0
        if self._hearing is None or end >= self.writer.seconds:
            return
        self._heard_from = end
        archive, start = self.writer.archive, round(end * RATE)
        for segment in archive.segments(self.id, archive.segment_at(self.id, start)):
            block = decoded(segment.data)[max(start - segment.start, 0) :]
            for said in self._hearing.accept(self._gain.apply(block)):
                self._hear_shifted(said)

    def _store_sound(self) -> None:
        if len(self._waiting):
            self._keep_sound(self._waiting)
            self._waiting = self._waiting[:0]

    def _meant(self, entry: Any) -> dict[str, Any]:
        """What tells an entry also when a run is read anew and numbered otherwise."""
        for _, known in self.state.filing.entries:
            if known.id == entry:
                return {"concept": known.concept, "chars": list(known.evidence.chars)}
        return {}

    def _keep_sound(self, block: Block) -> None:
        self._published(lambda: self.writer.sound(block))

    def _keep(self, said: Sequence[tuple[Kind, Mapping[str, Any]]]) -> None:
        if said:
            self._published(lambda: self.writer.append(*said))

    def _published(self, keep: Callable[[], Sequence[Event]]) -> None:
        """Keep events; tell them; then keep and tell what follows from them."""
        if self._broken is not None:
            raise self._broken
        try:
            events = keep()
        except StorageError as error:
            self._broken = error
            raise
        for event in events:
            self._tell(event)
        for event in events:
            if event.kind in INPUTS:
                self._keep_outcomes(event)

    def _keep_outcomes(self, event: Event) -> None:
        outcomes = self.state.take(event)
        if outcomes:
            self._published(lambda: self.writer.append(*outcomes))

    def _tell(self, told: Event | Partial) -> None:
        for watcher in tuple(self._watchers):
            try:
                watcher(told)
            except Exception:
                self._watchers.remove(watcher)
