"""The one writer of a run: what it has taken is on the disk, chained by hashes and numbered without gaps."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import islice
from typing import TYPE_CHECKING, Any, Self, TypeVar

from sqlalchemy import Connection, insert

from listener.archive.events import Event, Head, Kind, Segment, canonical, digest
from listener.archive.flac import encoded
from listener.archive.tables import AudioRow, EventRow, RunRow
from listener.errors import StorageError
from listener.levels import Block
from listener.sound import RATE

if TYPE_CHECKING:
    from listener.archive.store import Archive

T = TypeVar("T")

#: Rows read or written at a time.
PAGE = 500
_CLOCK_SLACK_S = 1.0


@dataclass(frozen=True, slots=True)
class Ends:
    """Where a run ends: the last event (hash, number, time) and the last sound (segment, samples)."""

    hash: str
    number: int = 0
    at: str = ""
    segment: int = 0
    samples: int = 0


class Writer:
    """The one writer of a run. What it returns is on the disk; after an error nothing of the call is."""

    def __init__(self, archive: Archive, head: Head, key: int, ends: Ends) -> None:
        self.archive = archive
        self.head = head
        self._key = key
        self._ends = ends
        self._held: tuple[list[Event], list[Segment]] | None = None
        self._open = True

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def seconds(self) -> float:
        """Seconds of sound that are kept."""
        return self._ends.samples / RATE

    @property
    def hash(self) -> str:
        """The hash of the last event, which stands for all of the run."""
        return self._ends.hash

    @property
    def events(self) -> int:
        return self._ends.number

    def append(self, *said: tuple[Kind, Mapping[str, Any]]) -> tuple[Event, ...]:
        """Keep events, all or none of them, in one transaction. Raises :class:`StorageError`."""
        events, ends = self._chain(said)
        if events:
            self._keep(events, ())
            self._ends = ends
        return events

    def sound(self, block: Block) -> tuple[Event, ...]:
        """Keep int16 samples, shape (n,), at most one second, and the event that tells of them, in one transaction."""
        data = encoded(block)
        segment = Segment(self._ends.segment + 1, self._ends.samples, len(block), digest(data), data)
        events, ends = self._chain([("sound", segment.body)])
        self._keep(events, (segment,))
        self._ends = replace(ends, segment=segment.number, samples=segment.start + segment.samples)
        return events

    @contextmanager
    def together(self) -> Iterator[None]:
        """What is kept in this block goes to the disk in few transactions, and is there when the block has ended.

        For what is not live: a file's sound in transactions of its own would wait for the disk once a second of it.
        The archive is not locked while the block works. After an error some of the block may be kept.
        """
        if self._held is not None:
            raise StorageError(f"Run {self.head.id} is already written to together.")
        self._held = ([], [])
        try:
            yield
            self._flush()
        finally:
            self._held = None

    def close(self) -> None:
        """Let go of the run. A run without an ending counts as interrupted from now on."""
        if self._open:
            self._open = False
            self.archive.free(self.head.id)

    def _keep(self, events: Sequence[Event], segments: Sequence[Segment]) -> None:
        if self._held is not None:
            self._held[0].extend(events)
            self._held[1].extend(segments)
            if len(self._held[0]) >= PAGE:
                self._flush()
            return
        with self.archive.writing() as connection:
            if segments:
                insert_segments(connection, self._key, segments)
            insert_events(connection, self._key, events)

    def _flush(self) -> None:
        if self._held is None or not self._held[0]:
            return
        events, segments = self._held
        self._held = None
        self._keep(events, segments)
        self._held = ([], [])

    def _chain(self, said: Iterable[tuple[Kind, Mapping[str, Any]]]) -> tuple[tuple[Event, ...], Ends]:
        if not self._open:
            raise StorageError(f"Run {self.head.id} was closed; it takes nothing more.")
        moment = self.archive.clock()
        at, ends, events = stamp(moment), self._ends, []
        for kind, body in [*self._clock_remark(moment), *said]:
            event = Event(ends.number + 1, kind, at, body)
            event = replace(event, hash=event.chained(ends.hash))
            ends = replace(ends, hash=event.hash, number=event.number, at=at)
            events.append(event)
        return tuple(events), ends

    def _clock_remark(self, moment: datetime) -> list[tuple[Kind, Mapping[str, Any]]]:
        if not self._ends.at:
            return []
        back = (datetime.fromisoformat(self._ends.at) - moment).total_seconds()
        if back <= _CLOCK_SLACK_S:
            return []
        return [
            (
                "remark",
                {
                    "about": "clock",
                    "text": f"The clock of this machine was set back by {back:.0f} s; "
                    "the order of events is kept by their numbers.",
                },
            )
        ]


def insert_head(connection: Connection, head: Head) -> int:
    row = connection.execute(insert(RunRow).values(id=head.id, head=head.as_json(), hash=head.hash))
    assert row.inserted_primary_key is not None
    return int(row.inserted_primary_key[0])


def insert_events(connection: Connection, run: int, events: Iterable[Event]) -> None:
    connection.execute(
        insert(EventRow),
        [
            {
                "run": run,
                "number": e.number,
                "kind": e.kind,
                "at": e.at,
                "body": canonical(dict(e.body)),
                "hash": e.hash,
            }
            for e in events
        ],
    )


def insert_segments(connection: Connection, run: int, segments: Iterable[Segment]) -> None:
    connection.execute(
        insert(AudioRow),
        [
            {"run": run, "number": s.number, "start": s.start, "samples": s.samples, "sha256": s.sha256, "data": s.data}
            for s in segments
        ],
    )


def in_pages(values: Iterable[T]) -> Iterator[list[T]]:
    held = iter(values)
    while some := list(islice(held, PAGE)):
        yield some


def stamp(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="microseconds")
