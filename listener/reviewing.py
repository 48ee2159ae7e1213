"""A kept run opened for review: its record as it stands, and the changes a person makes to it.

What was filed stays as it was filed: changes are applied to the filed record, not to a new reading of the words, so
that a changed lexicon never alters a run by itself (:meth:`Review.again` shows what it would alter). Every change
is an event of the run, with who and when; nothing is overwritten.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from lexicon import Lexicon
from listener.archive import Archive, RunInfo
from listener.archive.events import INPUTS, Event, digest
from listener.archive.reading import differences, file_again, read_again
from listener.archive.summaries import summarise
from listener.errors import UsageError
from listener.replay import State, begun, replayed, utterance_of
from parser.proposing import proposed
from parser.record import Entry, Record
from parser.revising import entry_of
from parser.statements import Value
from parser.structurer import Filing
from parser.transcript import Utterance

_FOREIGN = "The record was filed by another version of Crownsole; this is its words read anew."

#: What a person can ask of a run that has ended.
ACTS = frozenset(["confirm", "amend", "withdraw_entry", "restore", "revert", "undo"])


class Stale(UsageError):
    """The run was changed since the one who asks has looked at it."""


class Doubtful(UsageError):
    """A change that the lexicon finds unlikely; it is made when asked for again with ``sure``."""


@dataclass(frozen=True, slots=True)
class Wish:
    """A change that a person asks for. ``revision`` is that of the record they saw; ``by`` their name."""

    name: str
    revision: str
    by: str
    entry: str | None = None
    reason: str | None = None
    changes: Mapping[str, Any] | None = None
    sure: bool = False


@dataclass(frozen=True, slots=True)
class Difference:
    """What reading a run anew would change: lines that begin with "- " or "+ ", and a seal to take it by."""

    lines: tuple[str, ...]
    seal: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Shown:
    """A run as it stands: ``marks`` are the moments the speaker marked, ``undoable`` how many changes can be undone."""

    info: RunInfo
    record: Record
    utterances: tuple[Utterance, ...]
    marks: tuple[Mapping[str, Any], ...]
    revision: str
    lexicon: Lexicon
    undoable: int


class Review:
    """One run, open for review. Safe to use from several threads."""

    def __init__(self, archive: Archive, run: str, lexicon: Callable[[RunInfo], Lexicon]) -> None:
        self._archive = archive
        self._lexicon = lexicon
        self._lock = threading.RLock()
        self._loaded: _Loaded | None = None
        self.id = archive.run(run).id

    def look(self) -> Shown:
        """The run as it stands now."""
        with self._lock:
            loaded = self._now()
            state = loaded.state
            return Shown(
                loaded.info,
                loaded.record,
                tuple(state.utterances),
                tuple(state.marks),
                loaded.revision,
                state.lexicon,
                sum(what != "finish" for what, _ in state.undoable),
            )

    def act(self, wish: Wish) -> str:
        """Make a change; returns the revision after it.

        Raises :class:`Stale`, :class:`Doubtful`, :class:`UsageError` for what cannot be, and :class:`StorageError`.
        """
        with self._lock:
            loaded = self._now()
            if wish.revision != loaded.revision:
                raise Stale(
                    "This run was changed since this page showed it. It is shown anew; nothing was changed by you."
                )
            if loaded.info.status != "finished":
                raise UsageError(f"This run is {loaded.info.status}. It takes changes when it has ended.")
            body = _checked(loaded, wish)
            with self._archive.resume(self.id) as writer:
                if writer.events != loaded.seen:
                    raise Stale("This run was changed by another program just now. Look at it again.")
                (event,) = writer.append(("request", body))
                outcomes = loaded.state.take(event)
                writer.append(*outcomes)
                self._loaded = _after(loaded, event, writer.events)
                summarise(writer, self._loaded.record)
            return self._loaded.revision

    def end(self) -> None:
        """End a run that was interrupted, as it stands. Raises :class:`StorageError` when it is being written."""
        from listener.session import Session

        with self._lock:
            loaded = self._now()
            if loaded.info.status == "interrupted":
                Session.go_on(self._archive, self.id, loaded.state.lexicon).close("ended in review")

    def again(self, lexicon: Lexicon | None = None) -> Difference:
        """What reading the run anew with the lexicon of now would change. Nothing is changed."""
        return self._read_again(lexicon)[0]

    def take(self, seal: str, lexicon: Lexicon | None = None) -> None:
        """File the run as read anew. Raises :class:`Stale` when that is not what ``seal`` was shown for."""
        with self._lock:
            difference, after = self._read_again(lexicon)
            if difference.seal != seal:
                raise Stale("The run or the lexicon was changed since the difference was shown. Look at it again.")
            file_again(self._archive, self.id, after)

    def _read_again(self, lexicon: Lexicon | None) -> tuple[Difference, Record]:
        loaded = self._now()
        chosen = lexicon or loaded.state.lexicon
        after = read_again(self._archive, self.id, chosen)
        lines = tuple(differences(loaded.record, after, chosen))
        seal = digest(f"{loaded.revision}\n{after.model_dump_json()}".encode())
        return Difference(lines, seal, loaded.record.run.lexicon.version, chosen.version), after

    def _now(self) -> _Loaded:
        with self._lock:
            info = self._archive.run(self.id)
            if self._loaded is None or (info.events, info.status) != (self._loaded.seen, self._loaded.info.status):
                self._loaded = _load(self._archive, info, self._lexicon(info))
            return self._loaded


@dataclass(frozen=True, slots=True)
class _Loaded:
    """``seen`` is the number of the last event that is in it; ``filed`` the record it stands on, if any."""

    info: RunInfo
    state: State
    record: Record
    revision: str
    seen: int
    filed: Record | None


def standing_record(archive: Archive, run: str, lexicon: Lexicon) -> Record:
    """The record of a run as it stands: as filed, with the changes made since; else read from its words."""
    return _load(archive, archive.run(run), lexicon).record


def filing_of(record: Record, lexicon: Lexicon) -> Filing | None:
    """What was filed, from its record; None when the record does not hold all of it (its stations are not ours)."""
    found = record.entries()
    pairs = {m.entry: (m.systolic, m.diastolic) for measures in record.measures.values() for m in measures}
    filing = Filing(lexicon, amendments=list(record.amendments), unfiled=list(record.unfiled))
    for number in (f"e{i}" for i in range(1, len(found) + 1)):
        if number not in found or found[number][0] not in lexicon.regions:
            return None
        filing.entries.append(found[number])
        value = _value_of(found[number][1], pairs.get(number, (None, None)))
        if value is not None:
            filing.values[number] = value
    return filing


def _value_of(entry: Entry, pair: tuple[float | None, float | None]) -> Value | None:
    value = entry.value
    if value is None:
        return None
    high, low = pair
    both = (high, low) if high is not None and low is not None else None
    if both is None and entry.concept == "blood_pressure":
        parts = value.text.split("/")
        if len(parts) == 2 and all(part.replace(".", "", 1).isdigit() for part in parts):
            both = (float(parts[0]), float(parts[1]))
    return Value(value.text, value.as_said, value.number, both, value.unit)


def _load(archive: Archive, info: RunInfo, lexicon: Lexicon) -> _Loaded:
    filed: Record | None = None
    head = replace(info.head, packs=lexicon.packs)
    state = begun(head, lexicon)
    after: list[Event] = []
    seen = revision = 0
    foreign = False
    for event in archive.events(info.id):
        seen = event.number
        if event.kind in INPUTS:
            after.append(event)
            revision = event.number
        elif event.kind == "filed":
            revision = revision if after or filed is None else event.number
            filed, after = _parsed(event), []
            foreign = filed is None
        if event.kind == "utterance":
            state.utterances.append(utterance_of(event.body))
        elif event.kind in ("remark", "resumption") and event.body.get("text"):
            state.remarks.append(str(event.body["text"]))
        elif event.kind == "mark":
            state.marks.append(dict(event.body))
    name = f"{info.id}.{revision}"
    filing = filing_of(filed, lexicon) if filed is not None else None
    if filed is not None and filing is not None and all(_is_act(event) for event in after):
        state.filing, state.finished = filing, True
        state.settle()
        for event in after:
            state.take(event)
        record = _assembled(state, filed) if after else filed
        return _Loaded(info, state, record, name, seen, filed)
    state, _ = replayed(head, lexicon, archive.events(info.id))
    if foreign:
        state.remarks.append(_FOREIGN)
    return _Loaded(info, state, state.record(info.seconds or None), name, seen, None)


def _parsed(event: Event) -> Record | None:
    """The record of a filing; None when another version wrote it."""
    try:
        return Record.model_validate_json(event.body["record"])
    except (KeyError, ValueError):
        return None


def _is_act(event: Event) -> bool:
    return event.kind == "request" and event.body.get("id") in ACTS


def _assembled(state: State, filed: Record) -> Record:
    """The record after changes: its words and what it was read with are those of the one that was filed."""
    return state.record(filed.run.duration_s, filed.words).model_copy(update={"run": filed.run})


def _after(loaded: _Loaded, event: Event, seen: int) -> _Loaded:
    state = loaded.state
    record = _assembled(state, loaded.filed) if loaded.filed else state.record(loaded.info.seconds or None)
    info = replace(loaded.info, events=seen)
    return _Loaded(info, state, record, f"{info.id}.{event.number}", seen, loaded.filed)


def _checked(loaded: _Loaded, wish: Wish) -> dict[str, Any]:
    """The body of the request for a wish that can be fulfilled."""
    state = loaded.state
    body: dict[str, Any] = {"id": wish.name, "by": wish.by, "start": None}
    if wish.name == "undo":
        if not state.undoable or state.undoable[-1][0] == "finish":
            raise UsageError("There is nothing to undo.")
        return body
    if wish.name not in ACTS:
        raise UsageError(f"'{wish.name[:40]}' cannot be asked of a run.")
    try:
        _, entry = entry_of(state.filing, wish.entry or "")
        _check_standing(wish.name, entry, state.filing)
        changes = dict(_wanted(wish, entry, state.lexicon)) if wish.name == "amend" else None
    except ValueError as error:
        raise UsageError(str(error)) from None
    if wish.name == "withdraw_entry" and not wish.reason:
        raise UsageError("Say in a word or two why the line is withdrawn.")
    meant = {"entry": entry.id, "concept": entry.concept, "chars": list(entry.evidence.chars)}
    more = {"changes": changes} if changes is not None else {}
    return {**body, **meant, **more, "reason": wish.reason}


def _check_standing(name: str, entry: Entry, filing: Filing) -> None:
    last = next((a for a in reversed(filing.amendments) if a.supersedes == entry.id), None)
    withdrawn = last is not None and last.entry is None
    if name == "restore" and not withdrawn:
        raise ValueError(f"This line ({entry.label}) was not taken back.")
    if name != "restore" and entry.superseded_by is not None:
        raise ValueError(f"This line ({entry.label}) was replaced or taken back already.")
    if name == "revert" and not any(a.entry == entry.id for a in filing.amendments):
        raise ValueError(f"This line ({entry.label}) was not changed; there is nothing to take back.")


def _wanted(wish: Wish, entry: Entry, lexicon: Lexicon) -> Mapping[str, Any]:
    proposal = proposed(entry, wish.changes or {}, lexicon)
    if not proposal.changes:
        raise ValueError("Nothing would change. Alter the value, side, status or place first.")
    if proposal.warnings and not wish.sure:
        raise Doubtful(f"Unlikely: {'; '.join(proposal.warnings)}.")
    return proposal.changes
