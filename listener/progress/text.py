"""The course of runs as a calm page of text, at most 88 characters wide."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap

from listener.progress.course import Change, Course, Omission, Recurring, StationCourse
from listener.progress.gathering import Gathered
from listener.progress.naming import named
from listener.progress.wordings import amount, counted, direction, heard_again, span, subject, whose
from parser.debrief import CAUTION, WIDTH

MOST_RUNS, MOST_OMISSIONS, MOST_FAULTS = 30, 10, 10
_SIGNS = {"documented": "x", "partial": "~", "missing": ".", None: " "}


def text(gathered: Gathered) -> str:
    """The page, ending with a line feed."""
    course, names = gathered.course, gathered.names
    if not course.points:
        parts = [["No run to compare.", *nothing(gathered)]]
    else:
        parts = [list(_head(course)), list(_changes(course)), list(_stations(course, names)),
                 list(_omissions(course.omissions, names)), list(_faults(course.recurring))]
    parts += [[line for remark in gathered.remarks for line in wrap(remark, WIDTH)], wrap(CAUTION, WIDTH)]
    return "\n\n".join("\n".join(lines) for lines in parts if lines) + "\n"


def nothing(gathered: Gathered) -> Iterator[str]:
    """What to do when no run is there."""
    filters = gathered.filters
    if filters.learner or filters.checklist or filters.since:
        yield "No kept run passes what was asked for. Leave an option out, or: crownsole runs list"
    else:
        yield "Runs are kept by `crownsole live`, and by `crownsole hear --keep FILE`."


def _head(course: Course) -> Iterator[str]:
    title = " ".join(part for part in ("PROGRESS over", counted(len(course.points), "run"), whose(course)) if part)
    yield from wrap(f"{title}, {span(course)}", WIDTH)
    if course.checklists != ("complete",):
        yield from wrap(f"Checklists: {', '.join(course.checklists)}", WIDTH)


def _changes(course: Course) -> Iterator[str]:
    compared = any(change.first is not None for change in course.changes)
    yield "THE FIRST THREE RUNS AND THE LAST THREE (medians)" if compared else "EACH RUN, THE OLDEST FIRST"
    for change in course.changes:
        if change.all is None:
            continue
        yield _compared(change) if change.first is not None else _each(change)


def _compared(change: Change) -> str:
    first, last = amount(change.first, change.measure), amount(change.last, change.measure)
    return f"{change.measure.label:32} {first:>10} -> {last:>8}   {direction(change)}".rstrip()


def _each(change: Change) -> str:
    values = ", ".join(amount(value, change.measure) for value in change.values[-6:])
    return f"{change.measure.label:32} {values}"


def _stations(course: Course, names: dict[str, str]) -> Iterator[str]:
    shown = min(len(course.points), MOST_RUNS)
    which = "" if shown == len(course.points) else f", THE LAST {shown}"
    yield f"STATIONS, CROWN TO SOLE (a sign a run, the oldest left{which})"
    yield "x documented  ~ partial  . missing  blank: not wanted"
    timed = any(row.seconds for row in course.stations)
    for row in course.stations:
        yield _station(row, named(row.region, names), shown, timed)


def _station(row: StationCourse, name: str, shown: int, timed: bool) -> str:
    signs = "".join(_SIGNS[how] for how in row.course[-shown:])
    often = f"{row.times('documented')} of {row.counted}"
    long = f"{row.seconds.middle:5.0f} s" if row.seconds is not None else "      -" if timed else ""
    return f"{name if len(name) <= 30 else name[:29] + '…':30}  {signs:{max(shown, 5)}}  {often:>10}  {long}".rstrip()


def _omissions(omissions: Sequence[Omission], names: dict[str, str]) -> Iterator[str]:
    if not omissions:
        yield "NOTHING WAS LEFT OUT in any of these runs."
        return
    yield f"LEFT OUT MOST ({min(len(omissions), MOST_OMISSIONS)} of {counted(len(omissions), 'item')})"
    for omission in omissions[:MOST_OMISSIONS]:
        words = f"“{omission.say}” ({named(omission.region, names)}; {heard_again(omission.since)})"
        yield from _numbered(omission.missed, omission.counted, words)


def _faults(recurring: Sequence[Recurring]) -> Iterator[str]:
    if not recurring:
        return
    most = min(len(recurring), MOST_FAULTS)
    yield f"ORDER, TIMING, SIDES AND DETAIL ({most} of {counted(len(recurring), 'kind')}; said for next time)"
    for fault in recurring[:MOST_FAULTS]:
        yield from _numbered(fault.runs, None, f"{fault.family}: {subject(fault)} ({heard_again(fault.since)})")


def _numbered(number: int, of: int | None, words: str) -> Iterator[str]:
    head = f"{number:4} of {of:<4} " if of is not None else f"{counted(number, 'run'):>8}  "
    yield from wrap(words, WIDTH, initial_indent=head, subsequent_indent=" " * len(head))
