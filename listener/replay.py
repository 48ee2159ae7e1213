"""A run as it follows from its inputs: the same for a live run, for one taken up again, and for one read anew.

:class:`State` takes inputs in order (words, requests, resumptions, remarks) and tells what follows from each
(statements, directions, amendments, ...). It has no clock and no store of its own: times come with the events.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from lexicon import Lexicon
from listener.archive.events import INPUTS, OUTCOMES, Event, Head, Kind
from listener.directing import Said, names_of, obey, request
from parser.pipeline import Understood, finish, understand
from parser.record import Entry, ModelInfo, Record, RecordEvidence, RecordWord
from parser.settings import USUAL
from parser.statements import Situation, Statement
from parser.structurer import Filing, assemble
from parser.transcript import Transcript, Utterance, Word

Outcome = tuple[Kind, dict[str, Any]]


@dataclass(slots=True)
class State:
    """What the run has come to. One writer; readers take :meth:`record`."""

    head: Head
    lexicon: Lexicon
    filing: Filing
    situation: Situation = field(default_factory=Situation)
    utterances: list[Utterance] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    marks: list[dict[str, Any]] = field(default_factory=list)
    paused: bool = False
    finished: bool = False
    counting_from: float | None = None
    undoable: list[tuple[str, tuple[str, ...]]] = field(default_factory=list)
    _told: tuple[int, int] = (0, 0)
    _out: list[Outcome] = field(default_factory=list)

    @property
    def obeys(self) -> bool:
        """Whether directions do anything: in live runs; in a recording they are words."""
        return self.head.kind == "live"

    def take(self, event: Event) -> list[Outcome]:
        """Take an input; what follows from it. Any other event changes nothing."""
        self._out = []
        if event.kind == "utterance":
            self._hear(utterance_of(event.body), event.at)
        elif event.kind == "request":
            request(self, event.body, event.at)
            self.tell()
        elif event.kind == "resumption":
            self.reopen()
            self.remarks += [str(event.body["text"])] if event.body.get("text") else []
        elif event.kind == "remark":
            self.remarks.append(str(event.body["text"]))
        return self._out

    def out(self, kind: Kind, body: dict[str, Any]) -> None:
        """Tell an outcome, after what was filed before it."""
        self.tell()
        self._out.append((kind, body))

    def tell(self) -> None:
        """Tell of entries and amendments that were filed since the last time."""
        entries, amendments = self._told
        self._told = (len(self.filing.entries), len(self.filing.amendments))
        for region, entry in self.filing.entries[entries:]:
            self._out.append(("statement", {"region": region, "entry": entry.model_dump(mode="json")}))
        for amendment in self.filing.amendments[amendments:]:
            if (
                amendment.entry is None
                and amendment.kind == "withdrawal"
                and amendment.reason
                and amendment.by == "speaker"
            ):
                self._undoable_if_new(amendment.supersedes)
            kind: Kind = "confirmation" if amendment.kind == "confirmation" else "amendment"
            self._out.append((kind, amendment.model_dump(mode="json")))

    def settle(self) -> None:
        """Count what was filed up to now as told."""
        self._told = (len(self.filing.entries), len(self.filing.amendments))

    def reopen(self) -> None:
        """Take the end of the run back."""
        self.finished = False
        self.undoable = [one for one in self.undoable if one[0] != "finish"]

    def end(self) -> None:
        """Read the words that waited for more; called at the end of the run."""
        self._read(finish(self.situation, self.head.packs), "")
        self.tell()

    def record(self, seconds: float | None = None, words: tuple[RecordWord, ...] | None = None) -> Record:
        """The audited record as it stands; words that wait for more are read as they are.

        ``seconds`` of sound; ``words`` of the record, where they were made before.
        """
        filing = self.filing.copy()
        waiting = finish(self.situation, self.head.packs)
        if waiting is not None and not self.paused:
            filing.add(waiting)
        transcript = Transcript(tuple(self.utterances), self.head.source, seconds, tuple(dict.fromkeys(self.remarks)))
        model = ModelInfo(name=self.head.model, vocabulary=self.head.vocabulary) if self.head.model else None
        return assemble(
            filing, transcript, run_id=self.head.id, model=model, checklist=self.head.checklist, settings=USUAL,
            words=words,
        )

    def entries(self) -> list[tuple[str, Entry]]:
        """The standing entries with their stations, in the order they were filed."""
        return [(region, entry) for region, entry in self.filing.entries if entry.superseded_by is None]

    def _undoable_if_new(self, number: str) -> None:
        if not any(number in entries for _, entries in self.undoable):
            self.undoable.append(("withdraw", (number,)))

    def _hear(self, utterance: Utterance, at: str) -> None:
        self.utterances.append(utterance)
        if self.situation.pending is not None and self._speaks_to_us(utterance):
            self._read(finish(self.situation, self.head.packs), at)
        before = self.situation
        if self._idle:
            before = replace(before, pending=None)
        understood = understand(utterance, before, self.head.packs, last=self._idle)
        if understood.situation.pending is not None and not self._idle:
            self.situation = understood.situation
        else:
            self._read(understood, at)
        self.tell()

    @property
    def _idle(self) -> bool:
        return self.paused or self.finished

    def _speaks_to_us(self, utterance: Utterance) -> bool:
        return self.obeys and utterance.text.lower().startswith(names_of(self.lexicon))

    def _read(self, understood: Understood | None, at: str) -> None:
        """File what one utterance came to, and do what is asked in it, in the order it was said."""
        if understood is None:
            return
        kept: list[Statement] = []
        unheard: list[Statement] = []
        waiting = list(understood.statements)
        listened = not self._idle
        for chars, name in self._directions(understood):
            first = [s for s in waiting if s.evidence.chars[0] < chars[0]]
            waiting = [s for s in waiting if s.evidence.chars[0] >= chars[0]]
            (unheard if self._idle else kept).extend(self._enter(first))
            obey(self, name, _said(understood.utterance, chars, at))
            listened = listened or not self._idle
        (unheard if self._idle else kept).extend(self._enter(waiting))
        if listened:
            self.situation = replace(understood.situation, pending=None)
        self._leave(understood, kept, unheard, listened)

    def _enter(self, statements: Sequence[Statement]) -> Sequence[Statement]:
        if not self._idle:
            self.filing.enter(statements)
        return statements

    def _leave(self, understood: Understood, kept: list[Statement], unheard: list[Statement], listened: bool) -> None:
        reason = "said after the end" if self.finished else "said while paused"
        utterance = understood.utterance
        if listened or self._directions(understood):
            self.filing.leave(replace(understood, statements=tuple(kept)))
            for statement in unheard if kept else ():
                self.filing.unfile(utterance, statement.evidence.chars, reason)
        else:
            self.filing.unfile(utterance, (utterance.offset, utterance.offset + len(utterance.text)), reason)

    def _directions(self, understood: Understood) -> list[tuple[tuple[int, int], str]]:
        if not self.obeys:
            return []
        return [(chars, aside.id) for aside, chars in understood.asides if aside.kind == "direction" and aside.id]


def begun(head: Head, lexicon: Lexicon) -> State:
    """The state of a run of which nothing was said yet."""
    return State(head, lexicon, Filing(lexicon))


def replayed(head: Head, lexicon: Lexicon, events: Iterable[Event]) -> tuple[State, list[Outcome]]:
    """The state after a run's events, and the outcomes of the last input when they are not among them.

    A run that was killed between an input and its outcomes (kept together) is brought up to date with these.
    """
    state = begun(head, lexicon)
    outcomes: list[Outcome] = []
    done = 0
    for event in events:
        if event.kind in INPUTS:
            outcomes, done = state.take(event), 0
        elif event.kind in OUTCOMES:
            done += 1
    return state, outcomes if not done else []


def utterance_body(utterance: Utterance) -> dict[str, Any]:
    """An utterance as the body of an event."""
    words = [[w.text, w.heard, w.start, w.end, w.confidence, w.doubt, *w.chars] for w in utterance.words]
    return {
        "number": utterance.number,
        "text": utterance.text,
        "offset": utterance.offset,
        "first_word": utterance.first_word,
        "words": words,
    }


def utterance_of(body: Mapping[str, Any]) -> Utterance:
    """An utterance from the body of an event. Raises :class:`ValueError` for another body."""
    try:
        words = tuple(
            Word(str(text), str(heard), _time(start), _time(end), _time(sure), doubt, (int(first), int(last)))
            for text, heard, start, end, sure, doubt, first, last in body["words"]
        )
        return Utterance(int(body["number"]), words, str(body["text"]), int(body["offset"]), int(body["first_word"]))
    except (KeyError, TypeError, ValueError) as error:
        raise ValueError("this is no utterance") from error


def _time(value: Any) -> float | None:
    return None if value is None else float(value)


def _said(utterance: Utterance, chars: tuple[int, int], at: str) -> Said:
    """Where in the run a direction was said."""
    within = [i for i, word in enumerate(utterance.words) if word.chars[0] < chars[1] and word.chars[1] > chars[0]]
    text = utterance.text[chars[0] - utterance.offset : chars[1] - utterance.offset]
    first, last = (within[0], within[-1]) if within else (0, 0)
    start, end = (utterance.words[first].start, utterance.words[last].end) if within else (None, None)
    evidence = RecordEvidence(
        utterance=utterance.number,
        words=(utterance.first_word + first, utterance.first_word + last),
        start=start,
        end=end,
        chars=chars,
        text=text,
    )
    return Said("speaker", at, text, utterance.number, chars[0], start, evidence)
