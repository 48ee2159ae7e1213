"""The figures of each run, kept when its record is filed, so that many runs are compared without reading any anew.

A summary names what it was computed from: ``basis`` is the hash of the run's last event, which stands for all
events before it. When the run goes on, or the way figures are made changes (``scheme``), a new summary is added.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from sqlalchemy import func, insert, select

from listener.archive.events import Head, canonical
from listener.archive.store import Archive
from listener.archive.tables import AssignmentRow, EventRow, RunRow, SummaryRow
from listener.archive.whose import standing
from listener.archive.writing import Writer, stamp
from listener.errors import StorageError
from listener.progress.figures import SCHEME, figures_of
from parser.record import Record

_FETCHED = 200


@dataclass(frozen=True, slots=True)
class Kept:
    """A run with its newest summary. ``last`` is the hash of its last event; ``body`` None when the summary is
    absent, or was made from another state of the run or in another way.
    """

    head: Head
    learner: str | None
    attempt: int | None
    last: str
    body: Mapping[str, Any] | None


def file(writer: Writer, record: Record, lexicon: str) -> None:
    """Keep the record of a run, and then its figures. Raises :class:`StorageError`."""
    writer.append(("filed", {"lexicon": lexicon, "record": record.model_dump_json()}))
    summarise(writer, record)


def summarise(writer: Writer, record: Record) -> None:
    """Keep the figures of the record of a run as it stands.

    When they cannot be kept nothing is lost: they are computed again when they are asked for.
    """
    with suppress(StorageError):
        add_summary(
            writer.archive, writer.head.id, writer.hash, record.run.lexicon.version, figures_of(record).as_json()
        )


def add_summary(archive: Archive, run: str, basis: str, lexicon: str, body: Mapping[str, Any]) -> None:
    """Keep the figures of a run that were computed from its events up to the one with the hash ``basis``."""
    with archive.writing() as connection:
        key = connection.execute(select(RunRow.key).where(RunRow.id == run)).scalar()
        if key is None:
            return
        last = connection.execute(select(func.max(SummaryRow.number)).where(SummaryRow.run == key)).scalar() or 0
        connection.execute(
            insert(SummaryRow).values(
                run=key,
                number=last + 1,
                basis=basis,
                scheme=SCHEME,
                lexicon=lexicon,
                at=stamp(archive.clock()),
                body=canonical(dict(body)),
            )
        )


def summaries(archive: Archive, learner: str | None = None, since: str | None = None) -> Iterator[Kept]:
    """Runs with their figures, the one made first coming first; read a few hundred at a time.

    ``learner``: only that learner's; ``since``: made at this moment (UTC, ISO 8601) or later.
    """
    asked = _asked(learner)
    after = 0
    while True:
        page = asked.where(RunRow.key > after).order_by(RunRow.key).limit(_FETCHED)
        with archive.reading() as connection:
            rows = list(connection.execute(page))
        for row in rows:
            after = row.key
            kept = _kept(row)
            if since is None or kept.head.made_at >= since:
                yield kept
        if len(rows) < _FETCHED:
            return


def _asked(learner: str | None) -> Any:
    event, summary = _newest(EventRow), _newest(SummaryRow)
    asked = (
        select(
            RunRow.key,
            RunRow.id,
            RunRow.head,
            RunRow.hash,
            standing(AssignmentRow.learner).label("learner"),
            standing(AssignmentRow.attempt).label("attempt"),
            EventRow.hash.label("last"),
            SummaryRow.basis,
            SummaryRow.scheme,
            SummaryRow.body,
        )
        .outerjoin(EventRow, (EventRow.run == RunRow.key) & (EventRow.number == event))
        .outerjoin(SummaryRow, (SummaryRow.run == RunRow.key) & (SummaryRow.number == summary))
    )
    return asked if learner is None else asked.where(standing(AssignmentRow.learner) == learner)


def _newest(row: type[EventRow] | type[SummaryRow]) -> Any:
    return select(func.max(row.number)).where(row.run == RunRow.key).correlate(RunRow).scalar_subquery()


def _kept(row: Any) -> Kept:
    last = row.last or row.hash
    current = row.body is not None and row.basis == last and row.scheme == SCHEME
    try:
        head, body = Head.from_json(row.head), json.loads(row.body) if current else None
    except ValueError:
        raise StorageError(f"What is kept of run {row.id} is damaged. It was left as it is.") from None
    return Kept(head, row.learner, row.attempt, last, body)
