"""What the page and the portfolio show: panels, each a plot with its figures as a table beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache, partial
from typing import TYPE_CHECKING

from listener.errors import UsageError
from listener.progress.course import Change, Course, Point, StationCourse
from listener.progress.gathering import Gathered
from listener.progress.naming import named
from listener.progress.wordings import amount, counted, direction, heard_again, moment, span, subject, whose

if TYPE_CHECKING:
    from listener.progress.plots import Plot

#: Runs told one by one in a page; the last ones. All of them are in the CSV.
MOST_RUNS = 60
MOST_MATRIX = 30
MOST_LISTED = 20


@dataclass(frozen=True, slots=True)
class Table:
    """Words and figures; the first cell of a row names it."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Panel:
    """A plot, how its signs are read, and its figures; ``plot`` None where plots cannot be drawn."""

    id: str
    title: str
    plot: Plot | None
    key: tuple[tuple[str, str], ...]
    table: Table
    wide: bool = False


@dataclass(frozen=True, slots=True)
class RunLine:
    """A run in the list of runs."""

    run: str
    made: str
    learner: str
    attempt: str
    checklist: str
    source: str
    coverage: str
    omissions: str


@dataclass(frozen=True, slots=True)
class View:
    """Everything of the page, in words."""

    title: str
    about: str
    compared: bool
    changes: Table
    panels: tuple[Panel, ...]
    omissions: Table
    faults: Table
    runs: tuple[RunLine, ...]
    count: int
    plotless: str
    remarks: tuple[str, ...]


def view_of(gathered: Gathered) -> View:
    """The view of a course; of one without runs only the remarks."""
    course, names = gathered.course, gathered.names
    why = _cannot_draw()
    about = ", ".join(part for part in (counted(len(course.points), "run"), span(course)) if part) \
        if course.points else ""
    return View(
        title=" ".join(part for part in ("Progress", whose(course)) if part),
        about=about + (f"; checklists: {', '.join(course.checklists)}" if len(course.checklists) > 1 else ""),
        compared=any(change.first is not None for change in course.changes),
        changes=_changes(course),
        panels=_panels(_Sheet(gathered.key, not why, course, names)) if course.points else (),
        omissions=_omissions(course, names),
        faults=_faults(course),
        runs=tuple(_line(point) for point in course.points[: -MOST_RUNS - 1 : -1]),
        count=len(course.points),
        plotless=why,
        remarks=gathered.remarks,
    )


def _cannot_draw() -> str:
    from listener import drawing

    try:
        drawing.prepare()
    except UsageError as error:
        return str(error)
    return ""


def _changes(course: Course) -> Table:
    told = [change for change in course.changes if change.all is not None]
    if any(change.first is not None for change in told):
        rows = [(c.measure.label, amount(c.first, c.measure), amount(c.last, c.measure), direction(c)) for c in told]
        return Table("The first three runs and the last three (medians)",
                     ("", "First three", "Last three", ""), tuple(rows))
    last = course.points[-5:]
    each = [(c.measure.label, *(amount(value, c.measure) for value in c.values[-5:])) for c in told]
    return Table("Each run, the oldest first", ("", *(moment(point.made_at) for point in last)), tuple(each))


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A course to be drawn; the same key stands for the same course."""

    key: str
    drawn: bool
    course: Course = field(compare=False)
    names: Mapping[str, str] = field(compare=False)


def _panels(sheet: _Sheet) -> tuple[Panel, ...]:
    return _drawn(sheet) if sheet.key else tuple(_each_panel(sheet.course, sheet.names, sheet.drawn))


@lru_cache(maxsize=32)
def _drawn(sheet: _Sheet) -> tuple[Panel, ...]:
    return tuple(_each_panel(sheet.course, sheet.names, sheet.drawn))


def _each_panel(course: Course, names: Mapping[str, str], drawn: bool) -> Iterator[Panel]:
    from listener.progress import plots

    def plot(make: Callable[[], Plot | None]) -> Plot | None:
        return make() if drawn else None

    signs = (("documented", "documented"), ("partial", "partial"), ("missing", "missing"), ("", "blank: not wanted"))
    yield Panel("stations", "Stations over the runs", plot(partial(plots.stations, course, names)), signs,
                _matrix(course, names), wide=True)
    for id_, title, chosen in _LINES:
        changes = [c for c in course.changes if c.measure.id in chosen and c.all is not None]
        if changes:
            drawing = partial(plots.lines, course, id_, title, chosen)
            yield Panel(id_, title, plot(drawing), (), _values(title, changes, course.points))
    timed = [row for row in course.stations if row.seconds is not None]
    if timed:
        key = (("|", "usual (median)"), ("—", "middle half of the runs"), ("◇", "the latest run"))
        yield Panel("times", "Time at each station", plot(partial(plots.times, course, names)), key,
                    _times(timed, names))
    if course.omissions:
        bars = (("▬", "in the latest run too"), ("▭", "not in the latest run"))
        yield Panel("omissions", "Left out most", plot(partial(plots.omissions, course)), bars,
                    _omissions(course, names))


_LINES: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("coverage", "Stations documented, in percent", ("coverage",)),
    ("left-out", "Items not heard", ("omissions",)),
    ("faults", "Faults of order, timing and side", ("order", "timing", "sides")),
    ("marks", "Entries to confirm and corrected, in percent", ("doubt", "correction")),
    ("pace", "Words a minute", ("words_a_minute",)),
)


def _matrix(course: Course, names: Mapping[str, str]) -> Table:
    first = max(len(course.points) - MOST_MATRIX, 0)
    rows = tuple((named(row.region, names), *_told(row, first)) for row in course.stations)
    return Table("Each station in each run; how many items were not heard",
                 ("Station", *(f"Run {n + 1}" for n in range(first, len(course.points)))), rows)


def _told(row: StationCourse, first: int) -> Iterator[str]:
    for how, left_out in zip(row.course[first:], row.left_out[first:], strict=True):
        yield "not wanted" if how is None else f"{how}, {left_out}" if left_out else how


def _values(title: str, changes: Sequence[Change], points: Sequence[Point]) -> Table:
    first = max(len(points) - MOST_RUNS, 0)
    rows = [
        (f"{n + 1}, {moment(points[n].made_at)}", *(amount(change.values[n], change.measure) for change in changes))
        for n in range(first, len(points))
    ]
    return Table(title, ("Run", *(change.measure.label for change in changes)), tuple(rows))


def _times(rows: Sequence[StationCourse], names: Mapping[str, str]) -> Table:
    def line(row: StationCourse) -> tuple[str, ...]:
        assert row.seconds is not None
        latest = "-" if row.latest_seconds is None else f"{row.latest_seconds:.0f} s"
        return (named(row.region, names), f"{row.seconds.middle:.0f} s",
                f"{row.seconds.low:.0f} to {row.seconds.high:.0f} s", latest)

    return Table("From the first words of a station to the first of another",
                 ("Station", "Usually", "Middle half", "Latest run"), tuple(line(row) for row in rows))


def _omissions(course: Course, names: Mapping[str, str]) -> Table:
    rows = tuple((omission.say, named(omission.region, names), f"{omission.missed} of {omission.counted}",
                  heard_again(omission.since)) for omission in course.omissions[:MOST_LISTED])
    return Table("What was left out most, in words to say", ("Say", "Station", "Left out", "Lately"), rows)


def _faults(course: Course) -> Table:
    rows = tuple((subject(fault), fault.family, counted(fault.runs, "run"), heard_again(fault.since))
                 for fault in course.recurring[:MOST_LISTED])
    return Table("Order, timing, sides and detail: what to do next time", ("Next time", "Kind", "In", "Lately"), rows)


def _line(point: Point) -> RunLine:
    coverage, omissions = point.figures.coverage, point.figures.omissions
    return RunLine(point.run, moment(point.made_at), point.learner or "", str(point.attempt or ""), point.checklist,
                   point.source, "" if coverage is None else f"{coverage:.0%}", str(omissions))
