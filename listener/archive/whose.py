"""Whose run it is and which attempt: said when the run begins or later; what was said last stands."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, func, insert, select

from listener.archive.tables import AssignmentRow, RunRow
from listener.errors import UsageError

if TYPE_CHECKING:
    from listener.archive.store import Archive

#: Characters of a learner's name or code at most.
LONGEST_NAME = 120


@dataclass(frozen=True, slots=True)
class Whose:
    """A learner, by the name or code the school uses, and the attempt, counted from 1; None where it is not known."""

    learner: str | None = None
    attempt: int | None = None

    def __bool__(self) -> bool:
        return self.learner is not None or self.attempt is not None


NOBODY = Whose()


def whose(learner: str | None, attempt: int | None) -> Whose:
    """Checked and in one spelling. Raises :class:`UsageError`."""
    if attempt is not None and not 1 <= attempt <= 9999:
        raise UsageError(f"Attempts count from 1 to 9999; {attempt} is none.")
    if learner is None:
        return Whose(None, attempt)
    name = " ".join(unicodedata.normalize("NFC", learner).split())
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise UsageError(f"A learner's name or code has 1 to {LONGEST_NAME} characters that can be printed.")
    return Whose(name, attempt)


def insert_assignment(connection: Connection, run: int, who: Whose, by: str, at: str) -> None:
    """Say whose the run with this key is; what was said before is kept."""
    last = connection.execute(select(func.max(AssignmentRow.number)).where(AssignmentRow.run == run)).scalar() or 0
    values = {"run": run, "number": last + 1, "learner": who.learner, "attempt": who.attempt, "by": by, "at": at}
    connection.execute(insert(AssignmentRow).values(**values))


def learners(archive: Archive) -> tuple[str, ...]:
    """Every learner who has a run, in alphabetical order."""
    with archive.reading() as connection:
        names = connection.execute(select(standing(AssignmentRow.learner)).select_from(RunRow).distinct()).scalars()
        return tuple(sorted(name for name in names if name is not None))


def standing(column: Any) -> Any:
    """A column of the assignment that stands, of the run in the query around it."""
    return (
        select(column)
        .where(AssignmentRow.run == RunRow.key)
        .order_by(AssignmentRow.number.desc())
        .limit(1)
        .correlate(RunRow)
        .scalar_subquery()
    )
