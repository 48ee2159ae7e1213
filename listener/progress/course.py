"""Many runs in order: what changed at each station, what is left out most, which faults come back.

Pure functions of frozen values; nothing here reads the archive or a clock.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median, quantiles

from listener.progress.figures import Fault, RunFigures, StationFigures
from parser.record import Coverage

#: So many runs at either end are compared, when there are at least twice as many.
ENDS = 3


@dataclass(frozen=True, slots=True)
class Point:
    """One run in a course. ``made_at`` has a time zone."""

    run: str
    made_at: datetime
    learner: str | None
    attempt: int | None
    checklist: str
    source: str
    kind: str
    figures: RunFigures


@dataclass(frozen=True, slots=True)
class Spread:
    """Lower quartile, median and upper quartile of ``count`` values (of two or fewer: the least and the most)."""

    low: float
    middle: float
    high: float
    count: int


@dataclass(frozen=True, slots=True)
class StationCourse:
    """A station over the runs in which it counted. ``course`` has a place a run: None where it did not count."""

    region: str
    course: tuple[Coverage | None, ...]
    left_out: tuple[int | None, ...]
    seconds: Spread | None
    latest_seconds: float | None
    entries: int
    doubtful: int

    @property
    def counted(self) -> int:
        return sum(how is not None for how in self.course)

    def times(self, how: Coverage) -> int:
        return self.course.count(how)


@dataclass(frozen=True, slots=True)
class Omission:
    """An item in words to say, and in how many of the runs in which its station counted it was not heard.

    ``since``: for how many runs on end, the latest included, it was heard again (0: it was left out in the latest).
    """

    region: str
    say: str
    missed: int
    counted: int
    since: int


@dataclass(frozen=True, slots=True)
class Recurring:
    """A fault by its rule: in how many runs, how often in all, its latest words, and the runs since (0: the latest)."""

    rule: str
    region: str | None
    runs: int
    times: int
    message: str
    say: str | None
    since: int

    @property
    def family(self) -> str:
        return self.rule.partition(".")[0]


@dataclass(frozen=True, slots=True)
class Measure:
    """A figure of a run that is followed: how it is read, and whether more of it is better (None: neither)."""

    id: str
    label: str
    unit: str
    of: Callable[[RunFigures], float | None]
    better: bool | None
    digits: int = 0


@dataclass(frozen=True, slots=True)
class Change:
    """A measure in the first and in the last runs, as medians; None where there are too few runs to compare."""

    measure: Measure
    values: tuple[float | None, ...]
    all: Spread | None
    first: float | None
    last: float | None


@dataclass(frozen=True, slots=True)
class Course:
    """Everything that is told of a series of runs, the oldest first."""

    points: tuple[Point, ...]
    stations: tuple[StationCourse, ...]
    omissions: tuple[Omission, ...]
    recurring: tuple[Recurring, ...]
    changes: tuple[Change, ...]

    @property
    def learners(self) -> tuple[str, ...]:
        return tuple(sorted({point.learner for point in self.points if point.learner}))

    @property
    def checklists(self) -> tuple[str, ...]:
        return tuple(sorted({point.checklist for point in self.points}))


def _hundred(share: float | None) -> float | None:
    return None if share is None else share * 100


MEASURES: tuple[Measure, ...] = (
    Measure("coverage", "Stations documented", "%", lambda f: _hundred(f.coverage), True),
    Measure("omissions", "Items not heard", "", lambda f: float(f.omissions) if f.stations else None, False),
    Measure("order", "Faults of order", "", lambda f: float(f.faults_of("order")), False),
    Measure("timing", "Faults of timing", "", lambda f: float(f.faults_of("timing")), False),
    Measure("sides", "One side only", "", lambda f: float(f.faults_of("sides")), False),
    Measure("doubt", "Entries marked to confirm", "%", lambda f: _hundred(f.doubt_rate), False, 1),
    Measure("correction", "Entries corrected or taken back", "%", lambda f: _hundred(f.correction_rate), None, 1),
    Measure("minutes", "Minutes of sound", "min", lambda f: f.seconds / 60 if f.seconds else None, None, 1),
    Measure("words_a_minute", "Words a minute", "", lambda f: f.words_a_minute, None),
)


def course(points: Iterable[Point], order: Sequence[str]) -> Course:
    """The course of some runs. ``order`` gives the stations from crown to sole; others follow."""
    runs = tuple(in_order(points))
    return Course(runs, _stations(runs, order), _omissions(runs), _recurring(runs),
                  tuple(_change(measure, runs) for measure in MEASURES))


def in_order(points: Iterable[Point]) -> list[Point]:
    """By time; runs of one learner that all have an attempt go by attempt, since many may be brought in at once."""
    runs = sorted(points, key=lambda point: (point.made_at, point.run))
    if len({point.learner for point in runs}) == 1 and all(point.attempt for point in runs):
        runs.sort(key=lambda point: point.attempt or 0)
    return runs


def spread(values: Iterable[float | None]) -> Spread | None:
    """Quartiles as most people draw them (inclusive method); None without values."""
    known = sorted(value for value in values if value is not None)
    if not known:
        return None
    if len(known) < 3:
        return Spread(known[0], median(known), known[-1], len(known))
    low, middle, high = quantiles(known, n=4, method="inclusive")
    return Spread(low, middle, high, len(known))


def _stations(runs: Sequence[Point], order: Sequence[str]) -> tuple[StationCourse, ...]:
    found: dict[str, dict[int, StationFigures]] = {region: {} for region in order}
    for n, point in enumerate(runs):
        for station in point.figures.stations:
            found.setdefault(station.region, {})[n] = station
    return tuple(_station(region, by_run, len(runs)) for region, by_run in found.items() if by_run)


def _station(region: str, by_run: Mapping[int, StationFigures], count: int) -> StationCourse:
    seconds = [station.seconds for _, station in sorted(by_run.items()) if station.seconds is not None]
    return StationCourse(
        region,
        tuple(by_run[n].coverage if n in by_run else None for n in range(count)),
        tuple(len(by_run[n].missing) if n in by_run else None for n in range(count)),
        spread(seconds),
        by_run[count - 1].seconds if count - 1 in by_run else None,
        sum(station.entries for station in by_run.values()),
        sum(station.doubtful for station in by_run.values()),
    )


def _omissions(runs: Sequence[Point]) -> tuple[Omission, ...]:
    """Commonest first; of equal ones that of the latest run, then in the order of stations."""
    missed: Counter[tuple[str, str]] = Counter()
    counted: Counter[str] = Counter()
    latest: dict[tuple[str, str], int] = {}
    for n, point in enumerate(runs):
        for station in point.figures.stations:
            counted[station.region] += 1
            for say in dict.fromkeys(station.missing):
                missed[station.region, say] += 1
                latest[station.region, say] = n
    found = [
        Omission(region, say, times, counted[region], len(runs) - 1 - latest[region, say])
        for (region, say), times in missed.items()
    ]
    return tuple(sorted(found, key=lambda omission: (-omission.missed, omission.since)))


def _recurring(runs: Sequence[Point]) -> tuple[Recurring, ...]:
    """Commonest first; of equal ones that of the latest run."""
    found: dict[str, list[tuple[int, Fault]]] = defaultdict(list)
    for n, point in enumerate(runs):
        for fault in point.figures.faults:
            found[fault.rule].append((n, fault))
    recurring = [
        Recurring(rule, some[-1][1].region, len(some), sum(fault.times for _, fault in some), some[-1][1].message,
                  some[-1][1].say, len(runs) - 1 - some[-1][0])
        for rule, some in found.items()
    ]
    return tuple(sorted(recurring, key=lambda one: (-one.runs, one.since)))


def _change(measure: Measure, runs: Sequence[Point]) -> Change:
    values = tuple(measure.of(point.figures) for point in runs)
    known = [value for value in values if value is not None]
    few = len(known) < 2 * ENDS
    return Change(
        measure,
        values,
        spread(values),
        None if few else median(known[:ENDS]),
        None if few else median(known[-ENDS:]),
    )
