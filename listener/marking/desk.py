"""The marks of a kept run, with the points that a person gave beside those that are proposed.

Each change is an event of the run with who, when and why; nothing is overwritten. Words and record stay as they are.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select

from lexicon import Lexicon
from listener.archive import Archive, RunInfo
from listener.archive.events import MARKING, Event
from listener.archive.summaries import summarise
from listener.archive.tables import EventRow, RunRow
from listener.errors import InputError, StorageError, UsageError
from listener.reviewing import standing_record
from parser.marking import Given, Marking, MarkingRubric, Settled, mark, rubric_of, with_given
from parser.marking.changing import checked_points
from parser.record import Record

LONGEST_REASON = 500
LONGEST_NAME = 60


class Stale(UsageError):
    """Points were given since the one who asks has looked."""


@dataclass(frozen=True, slots=True)
class Marked:
    """A run with its marks. ``last`` is the number of the last event; ``rubric`` is ready to mark by."""

    info: RunInfo
    record: Record
    marking: Marking
    rubric: MarkingRubric
    last: int


@dataclass(frozen=True, slots=True)
class Wish:
    """What a person asks: points for a step, or with ``step`` None that all other marks stand.

    ``last`` is the event that they saw as the last one; None where they did not look.
    """

    by: str
    step: str | None = None
    points: float = 0.0
    reason: str = ""
    last: int | None = None


def ready(lexicon: Lexicon, name: str) -> MarkingRubric:
    """The rubric of that name. Raises :class:`InputError`."""
    try:
        return rubric_of(lexicon, name)
    except ValueError as error:
        raise InputError(str(error)) from None


def usual(lexicon: Lexicon, checklist: str) -> str:
    """The rubric for a checklist where none is named: that of the same name, else "complete"."""
    from lexicon.rubrics import rubrics

    return checklist if checklist in rubrics(lexicon) else "complete"


def marked(archive: Archive, run: str, lexicon: Lexicon, rubric: str | None = None) -> Marked:
    """The marks of a kept run as they stand. Raises :class:`InputError` for an unknown run or rubric."""
    info = archive.run(run)
    chosen = ready(lexicon, rubric or usual(lexicon, info.head.checklist))
    return _marked(archive, info, lexicon, chosen)


def change(archive: Archive, run: str, lexicon: Lexicon, rubric: str | None, wish: Wish) -> Marked:
    """Keep what a person gives, and look again.

    Raises :class:`UsageError` for what cannot be, :class:`Stale` when points were given since they looked, and
    :class:`StorageError`.
    """
    before = marked(archive, run, lexicon, rubric)
    if before.info.status != "finished":
        raise UsageError(f"Run {before.info.id} is {before.info.status}. It is marked when it has ended.")
    body = _body(before, wish)
    if wish.last is not None and wish.last != before.last:
        raise Stale("Points were given, or the run was changed, since this was shown. Look again.")
    with archive.resume(before.info.id) as writer:
        if writer.events != before.last:
            raise Stale("The run was changed by another program just now. Look again.")
        writer.append((MARKING, body))
        summarise(writer, before.record)
    return _marked(archive, archive.run(before.info.id), lexicon, before.rubric)


def runs_with_marks(archive: Archive) -> tuple[str, ...]:
    """Ids of the runs in which a person gave points or let them stand, the first made coming first."""
    asked = (
        select(RunRow.id)
        .where(RunRow.key.in_(select(EventRow.run).where(EventRow.kind == MARKING)))
        .order_by(RunRow.key)
    )
    with archive.reading() as connection:
        return tuple(connection.execute(asked).scalars())


def given_in(events: Iterator[Event]) -> tuple[tuple[Given, ...], dict[str, Settled], int]:
    """Points given, what was settled by rubric, and the number of the last event. Raises :class:`StorageError`.

    A mark that is changed after it was settled stays settled: the change is a look at it too.
    """
    given: list[Given] = []
    settled: dict[str, Settled] = {}
    last = 0
    for event in events:
        last = event.number
        if event.kind != MARKING:
            continue
        body = {**event.body, "at": event.at}
        try:
            if body.pop("do", "") == "settle":
                settled[str(body["rubric"])] = Settled(**body)
            else:
                given.append(Given(**{**body, "number": event.number}))
        except (ValueError, KeyError):
            raise StorageError(f"Event {event.number} of this run holds points that cannot be read.") from None
    return tuple(given), settled, last


def _marked(archive: Archive, info: RunInfo, lexicon: Lexicon, rubric: MarkingRubric) -> Marked:
    record = standing_record(archive, info.id, lexicon)
    given, settled, last = given_in(archive.events(info.id))
    proposed = mark(record, record.remarks, rubric)
    return Marked(info, record, with_given(proposed, rubric, given, settled.get(rubric.id)), rubric, last)


def _body(before: Marked, wish: Wish) -> dict[str, Any]:
    """The event for a wish that can be fulfilled."""
    by = checked_text(wish.by, LONGEST_NAME, "Say who gives the points.")
    rubric = {"rubric": before.rubric.id, "rubric_version": before.rubric.version}
    if wish.step is None:
        return {"do": "settle", "by": by, **rubric}
    marks = before.marking.marks()
    if wish.step not in marks:
        from difflib import get_close_matches

        near = get_close_matches(wish.step, marks, 1)
        hint = f" Did you mean '{near[0]}'?" if near else ""
        raise UsageError(f"The rubric '{before.rubric.id}' marks no step '{wish.step[:60]}'.{hint}")
    found = marks[wish.step]
    try:
        points = checked_points(wish.points, found)
    except ValueError as error:
        raise UsageError(str(error)) from None
    if points == found.standing and not found.given:
        raise UsageError(f"'{found.label}' has {points:g} points already; nothing was changed.")
    reason = checked_text(wish.reason, LONGEST_REASON, "Say in a word or two why the points are changed.")
    return {"do": "change", "step": found.step, "points": points, "proposed": found.points, "reason": reason,
            "by": by, **rubric}  # fmt: skip


def checked_text(text: str, longest: int, absent: str) -> str:
    """One line of text that can be kept. Raises :class:`UsageError`."""
    line = "".join(sign for sign in " ".join(text.split()) if sign.isprintable())
    if not line:
        raise UsageError(absent)
    if len(line) > longest:
        raise UsageError(f"This is too long: at most {longest} signs are kept.")
    return line
