"""The archive as the program sees it: runs to list, read, begin, go on with and remove; one writer a run."""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Self

from sqlalchemy import Connection, Row, func, insert, select
from sqlalchemy.engine import URL

from listener.archive.engine import connected, named, told, whereabouts
from listener.archive.events import Event, Head, RunInfo, RunKind, Segment, Status
from listener.archive.migrating import migrate
from listener.archive.tables import AssignmentRow, AudioRow, EventRow, RemovalRow, RunRow
from listener.archive.whose import NOBODY, Whose, insert_assignment, standing, whose
from listener.archive.writers import Held, holds_of
from listener.archive.writing import PAGE, Ends, Writer, in_pages, insert_events, insert_head, insert_segments, stamp
from listener.errors import InputError, StorageError
from listener.sound import RATE

Clock = Callable[[], datetime]


def now() -> datetime:
    return datetime.now(UTC)


def open_archive(place: str | Path | None = None, clock: Clock = now) -> Archive:
    """The archive at a path or URL, made or brought up to date when needed; a context manager.

    ``place`` None: ``CROWNSOLE_ARCHIVE``, else the user's data folder. Raises :class:`StorageError`.
    """
    return Archive(whereabouts(place), clock)


class Archive:
    """All runs of one store. Safe to use from several threads; each :class:`Writer` belongs to one."""

    def __init__(self, url: URL, clock: Clock = now) -> None:
        self.name = named(url)
        self.clock = clock
        self._url = url
        with told(url):
            self._engine = connected(url)
            try:
                migrate(self._engine, self.name)
            except BaseException:
                self._engine.dispose()
                raise
        self._holds = holds_of(self._engine, url)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the archive and of every run that is still being written through it."""
        self._holds.free_all()
        self._engine.dispose()

    def runs(self, learner: str | None = None) -> tuple[RunInfo, ...]:
        """Every run, or those of one learner; the one made last first."""
        facts = _facts().order_by(RunRow.key.desc())
        if learner is not None:
            facts = facts.where(standing(AssignmentRow.learner) == learner)
        with self.reading() as connection:
            rows = list(connection.execute(facts))
        with told(self._url):
            held = self._holds.held()
        return tuple(_info(row, held) for row in rows)

    def run(self, name: str) -> RunInfo:
        """A run by its id, by the beginning of it, or the newest by "last". Raises :class:`InputError`."""
        facts = _facts().order_by(RunRow.key.desc())
        if name != "last":
            facts = facts.where(RunRow.id.startswith(name, autoescape=True))
        with self.reading() as connection:
            rows = list(connection.execute(facts.limit(2)))
        exact = [row for row in rows if name in ("last", row.id)]
        if not rows or not name:
            raise InputError(f"There is no run '{name}'. List them with: crownsole runs list")
        if len(rows) > 1 and not exact:
            raise InputError(f"Several runs begin with '{name}'. Write more of the id.")
        with told(self._url):
            return _info((exact or rows)[0], self._holds.held())

    def events(self, run: str, after: int = 0) -> Iterator[Event]:
        """The events of a run with numbers above ``after``, in order."""
        key = self._key(run)
        while True:
            asked = select(EventRow.number, EventRow.kind, EventRow.at, EventRow.body, EventRow.hash)
            asked = asked.where(EventRow.run == key, EventRow.number > after).order_by(EventRow.number).limit(PAGE)
            with self.reading() as connection:
                rows = list(connection.execute(asked))
            for row in rows:
                after = row.number
                yield Event(row.number, row.kind, row.at, self._parsed(row.body), row.hash)
            if len(rows) < PAGE:
                return

    def segments(self, run: str, first: int = 1) -> Iterator[Segment]:
        """The sound of a run from segment ``first`` on, in order."""
        key = self._key(run)
        asked = select(AudioRow.number, AudioRow.start, AudioRow.samples, AudioRow.sha256, AudioRow.data)
        while True:
            page = asked.where(AudioRow.run == key, AudioRow.number >= first).order_by(AudioRow.number).limit(PAGE)
            with self.reading() as connection:
                rows = list(connection.execute(page))
            for row in rows:
                first = row.number + 1
                yield Segment(row.number, row.start, row.samples, row.sha256, row.data)
            if len(rows) < PAGE:
                return

    def segment_at(self, run: str, sample: int) -> int:
        """The number of the segment that holds a sample (0 is the first of the run); the last one beyond the end."""
        asked = select(func.max(AudioRow.number)).where(
            AudioRow.run == self._key(run), AudioRow.start <= max(sample, 0)
        )
        with self.reading() as connection:
            return connection.execute(asked).scalar() or 1

    def begin(
        self,
        kind: RunKind,
        source: str,
        *,
        lexicon: str,
        packs: tuple[str, ...] = (),
        checklist: str = "complete",
        model: str | None = None,
        vocabulary: str | None = None,
        learner: str | None = None,
        attempt: int | None = None,
    ) -> Writer:
        """A new run and its writer. Raises :class:`StorageError`; :class:`UsageError` for a learner or attempt."""
        who = whose(learner, attempt)
        head = Head(
            secrets.token_hex(6), kind, source, stamp(self.clock()), lexicon, packs, checklist, model, vocabulary
        )
        return self._begin_with(head, who)

    def _begin_with(self, head: Head, who: Whose = NOBODY) -> Writer:
        self._hold(head.id)
        try:
            with self.writing() as connection:
                key = insert_head(connection, head)
                if who:
                    insert_assignment(connection, key, who, "program", head.made_at)
        except BaseException:
            self._holds.free(head.id)
            raise
        return Writer(self, head, key, Ends(head.hash))

    def assign(self, run: str, learner: str | None, attempt: int | None = None, by: str = "program") -> RunInfo:
        """Say whose a run is (None: nobody's). What was said before is kept. Raises :class:`UsageError`."""
        who = whose(learner, attempt)
        key = self._key(self.run(run).id)
        with self.writing() as connection:
            insert_assignment(connection, key, who, by, stamp(self.clock()))
        return self.run(run)

    def insert_run(
        self, head: Head, events: Iterable[Event], segments: Iterable[Segment], who: Whose = NOBODY
    ) -> None:
        """A run from elsewhere, all of it or nothing; its hashes were checked. Raises :class:`StorageError`."""
        with self.writing() as connection:
            key = insert_head(connection, head)
            if who:
                insert_assignment(connection, key, who, "import", stamp(self.clock()))
            for some in in_pages(segments):
                insert_segments(connection, key, some)
            for few in in_pages(events):
                insert_events(connection, key, few)

    def resume(self, run: str) -> Writer:
        """The writer of a run that is there already. Raises :class:`StorageError` when another program writes to it."""
        head = self.run(run).head
        self._hold(head.id)
        try:
            key = self._key(head.id)
            with self.reading() as connection:
                event = connection.execute(
                    select(EventRow.number, EventRow.hash, EventRow.at)
                    .where(EventRow.run == key)
                    .order_by(EventRow.number.desc())
                    .limit(1)
                ).first()
                sound = connection.execute(
                    select(AudioRow.number, AudioRow.start, AudioRow.samples)
                    .where(AudioRow.run == key)
                    .order_by(AudioRow.number.desc())
                    .limit(1)
                ).first()
        except BaseException:
            self._holds.free(head.id)
            raise
        ends = Ends(head.hash) if event is None else Ends(event.hash, event.number, event.at)
        return Writer(
            self, head, key, replace(ends, segment=sound.number, samples=sound.start + sound.samples) if sound else ends
        )

    def remove(self, run: str) -> RunInfo:
        """Remove a whole run for good, sound included. Raises :class:`StorageError` when it is being written."""
        info = self.run(run)
        self._hold(info.id)
        try:
            with self.writing() as connection:
                key = connection.execute(select(RunRow.key).where(RunRow.id == info.id)).scalar_one()
                connection.execute(insert(RemovalRow).values(run=key, id=info.id, at=stamp(self.clock())))
            if self._engine.dialect.name == "sqlite":
                with told(self._url), self._engine.connect() as connection:
                    raw = connection.connection.dbapi_connection
                    assert raw is not None
                    raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        finally:
            self._holds.free(info.id)
        self._holds.forget(info.id)
        return info

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction that is on the disk when the block has ended."""
        with told(self._url), self._engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A transaction that sees one state of the archive and changes nothing."""
        with told(self._url), self._engine.connect().execution_options(reading=True) as connection, connection.begin():
            yield connection

    def _hold(self, run: str) -> None:
        with told(self._url):
            self._holds.take(run)

    def free(self, run: str) -> None:
        self._holds.free(run)

    def _key(self, run: str) -> int:
        with self.reading() as connection:
            key = connection.execute(select(RunRow.key).where(RunRow.id == run)).scalar()
        if key is None:
            raise InputError(f"There is no run '{run}'. List them with: crownsole runs list")
        return int(key)

    def _parsed(self, body: str) -> Mapping[str, Any]:
        try:
            parsed: Mapping[str, Any] = json.loads(body)
            return parsed
        except ValueError:
            raise StorageError(
                f"{self.name} is damaged: an event in it cannot be read. It was left as it is."
            ) from None


def _facts() -> Any:
    """A run with what is listed of it."""

    def count(kind: str | None) -> Any:
        asked = select(func.count()).select_from(EventRow).where(EventRow.run == RunRow.key)
        return (asked.where(EventRow.kind == kind) if kind else asked).correlate(RunRow).scalar_subquery()

    last = (
        select(EventRow.kind)
        .where(EventRow.run == RunRow.key, EventRow.kind.in_(("ending", "resumption")))
        .order_by(EventRow.number.desc())
        .limit(1)
        .correlate(RunRow)
        .scalar_subquery()
    )
    samples = (
        select(func.max(AudioRow.start + AudioRow.samples))
        .where(AudioRow.run == RunRow.key)
        .correlate(RunRow)
        .scalar_subquery()
    )
    return select(
        RunRow.id,
        RunRow.head,
        count(None).label("events"),
        count("utterance").label("utterances"),
        last.label("last"),
        samples.label("samples"),
        standing(AssignmentRow.learner).label("learner"),
        standing(AssignmentRow.attempt).label("attempt"),
    )


def _info(row: Row[Any], held: Held) -> RunInfo:
    status: Status = "finished" if row.last == "ending" else "under way" if row.id in held else "interrupted"
    try:
        head = Head.from_json(row.head)
    except ValueError:
        raise StorageError(f"The head of run {row.id} is damaged. It was left as it is.") from None
    seconds = (row.samples or 0) / RATE
    return RunInfo(head, status, row.events, row.utterances, seconds, row.learner, row.attempt)
