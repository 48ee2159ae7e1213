"""The overview of a cohort: which station of which learner is documented, what is left out most, how runs differ.

The view is a pure function of figures; the same view serves the page that stands alone in the folder of results and
the page of runs that are kept in the archive.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from listener.cohort.jobs import Filed
from listener.cohort.plots import Plot, spreads
from listener.output import emit
from listener.progress.course import MEASURES, Course, Measure, Point, Spread, course, spread
from listener.progress.figures import RunFigures
from listener.progress.naming import named, station_names

#: Rows of the grid and of the list of runs, and lines of each table; the CSV files have all.
MOST_LEARNERS = 120
MOST_RUNS = 400
MOST_LISTED = 15
SHEET = "cohort.css"
_SPREAD = ("coverage", "minutes", "words_a_minute")


@dataclass(frozen=True, slots=True)
class Cell:
    """A station of a learner: how far it is documented ("" not wanted), items not heard, and both in words."""

    how: str
    left_out: int
    words: str


@dataclass(frozen=True, slots=True)
class Row:
    """A learner's latest run over all stations. ``page`` is where the run can be read, or ""."""

    learner: str
    attempt: str
    page: str
    cells: tuple[Cell, ...]
    documented: int
    wanted: int


@dataclass(frozen=True, slots=True)
class Station:
    """A station over the learners' latest runs."""

    title: str
    documented: int
    wanted: int


@dataclass(frozen=True, slots=True)
class Often:
    """What is left out or done wrongly in many runs."""

    say: str
    station: str
    times: int
    of: int


@dataclass(frozen=True, slots=True)
class RunLine:
    learner: str
    attempt: str
    file: str
    page: str
    length: str
    coverage: str
    not_heard: int
    urgent: int
    to_confirm: int


@dataclass(frozen=True, slots=True)
class Bad:
    """A file of which there is no record."""

    file: str
    learner: str
    reason: str


@dataclass(frozen=True, slots=True)
class View:
    title: str
    about: str
    stations: tuple[Station, ...]
    rows: tuple[Row, ...]
    more_rows: int
    omissions: tuple[Often, ...]
    faults: tuple[Often, ...]
    plots: tuple[Plot, ...]
    plotless: str
    spreads: tuple[tuple[str, str, str, str, str], ...]
    runs: tuple[RunLine, ...]
    more_runs: int
    bad: tuple[Bad, ...]
    remarks: tuple[str, ...]


def view_of(points: Sequence[Point], names: Mapping[str, str], *, pages: Callable[[Point], str],
            bad: Sequence[Bad] = (), remarks: Sequence[str] = (), unfinished: int = 0) -> View:
    """The view of some runs. ``pages`` tells where a run can be read."""
    latest = _latest(points)
    told = course(latest, tuple(names))
    rows = tuple(_row(point, told, names, pages(point)) for point in latest[:MOST_LEARNERS])
    plots, plotless = _plots(points)
    people = len({point.learner for point in points if point.learner})
    about = f"{_counted(len(points), 'run')} of {_counted(people, 'learner')}"
    about += f", {_counted(len(bad), 'file')} without a record" if bad else ""
    about += f"; {_counted(unfinished, 'file')} still to come" if unfinished else ""
    return View(
        title="A cohort, station by station", about=about,
        stations=tuple(Station(named(s.region, names), s.times("documented"), s.counted) for s in told.stations),
        rows=rows, more_rows=len(latest) - len(rows),
        omissions=tuple(Often(o.say, named(o.region, names), o.missed, o.counted)
                        for o in told.omissions[:MOST_LISTED]),
        faults=tuple(Often(f.say or f.message, f.family, f.runs, len(latest)) for f in told.recurring[:MOST_LISTED]),
        plots=plots, plotless=plotless, spreads=tuple(_spread(m, points) for m in MEASURES if _known(m, points)),
        runs=tuple(_line(point, pages(point)) for point in _listed(points)[:MOST_RUNS]),
        more_runs=max(len(points) - MOST_RUNS, 0), bad=tuple(bad), remarks=tuple(remarks))


def points_of(filed: Iterable[Filed]) -> tuple[Point, ...]:
    """A point for every file with a record; texts are shared, so that a thousand runs are small."""
    texts: dict[str, str] = {}
    moment = datetime.fromtimestamp(0, UTC)
    return tuple(
        Point(one.page, moment, one.who.learner, one.who.attempt, "", one.name, "",
              RunFigures.from_json(one.outcome.figures, texts))
        for one in filed if one.outcome.state == "done")


def write_overview(folder: Path, filed: Sequence[Filed], remarks: Sequence[str], packs: Sequence[str] = (),
                   unfinished: int = 0) -> None:
    """Write ``overview.html`` into the folder of results. Raises :class:`StorageError`."""
    from listener.pages.app import written

    bad = [Bad(one.name, one.who.learner or "", one.outcome.reason) for one in filed if one.outcome.state != "done"]
    view = view_of(points_of(filed), station_names(packs), pages=lambda point: point.run, bad=bad, remarks=remarks,
                   unfinished=unfinished)
    made = written("cohort_alone.html", SHEET, title=view.title, view=view)
    emit(made, folder / "overview.html", force=True)


def _latest(points: Sequence[Point]) -> list[Point]:
    """The last attempt of each learner, by name; runs of nobody each stand for themselves."""
    last: dict[tuple[str, str], Point] = {}
    for point in points:
        key = ("", point.learner) if point.learner else (point.source, "")
        if key not in last or _rank(point) >= _rank(last[key]):
            last[key] = point
    return sorted(last.values(), key=_place)


def _rank(point: Point) -> tuple[int, datetime, str]:
    return (point.attempt or 0, point.made_at, point.source)


def _place(point: Point) -> tuple[str, int, str]:
    return ((point.learner or "\uffff").casefold(), point.attempt or 0, point.source)


def _listed(points: Sequence[Point]) -> list[Point]:
    return sorted(points, key=_place)


def _row(point: Point, told: Course, names: Mapping[str, str], page: str) -> Row:
    stations = {station.region: station for station in point.figures.stations}
    cells = []
    for row in told.stations:
        station = stations.get(row.region)
        if station is None:
            cells.append(Cell("", 0, "not wanted"))
        else:
            left = len(station.missing)
            words = station.coverage + (f", {left} not heard" if left else "")
            cells.append(Cell(station.coverage, left, words))
    figures = point.figures
    return Row(point.learner or point.source, str(point.attempt or ""), page, tuple(cells), figures.documented,
               len(figures.stations))


def _line(point: Point, page: str) -> RunLine:
    figures = point.figures
    length = "" if figures.seconds is None else f"{int(figures.seconds) // 60}:{int(figures.seconds) % 60:02d}"
    coverage = "" if figures.coverage is None else f"{figures.coverage:.0%}"
    return RunLine(point.learner or "", str(point.attempt or ""), point.source, page, length, coverage,
                   figures.omissions, figures.urgent, figures.doubtful)


def _known(measure: Measure, points: Sequence[Point]) -> bool:
    return any(measure.of(point.figures) is not None for point in points)


def _spread(measure: Measure, points: Sequence[Point]) -> tuple[str, str, str, str, str]:
    found: Spread | None = spread(measure.of(point.figures) for point in points)
    assert found is not None
    unit = f" {measure.unit}" if measure.unit else ""
    low, middle, high = (f"{value:.{measure.digits}f}{unit}" for value in (found.low, found.middle, found.high))
    return measure.label, low, middle, high, str(found.count)


def _plots(points: Sequence[Point]) -> tuple[tuple[Plot, ...], str]:
    from listener import drawing
    from listener.errors import UsageError

    try:
        drawing.prepare()
    except UsageError as error:
        return (), str(error)
    values = {m: [v for point in points if (v := m.of(point.figures)) is not None]
              for m in MEASURES if m.id in _SPREAD}
    return tuple(spreads(m, some) for m, some in values.items() if some), ""


def _counted(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def commonest(filed: Iterable[Filed], most: int = 5) -> list[tuple[str, int]]:
    """What is left out most over all runs, in words to say, and in how many runs."""
    found: Counter[str] = Counter()
    for point in points_of(filed):
        found.update({say for station in point.figures.stations for say in station.missing})
    return found.most_common(most)
