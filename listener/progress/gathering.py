"""Takes the figures of runs from the archive; those that are not there yet are computed and kept."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time

from listener.archive import Archive, RunInfo
from listener.archive.events import digest
from listener.archive.summaries import Kept, add_summary, summaries
from listener.archive.whose import whose
from listener.bars import Progress, silent
from listener.errors import CrownsoleError, StorageError, UsageError
from listener.progress.course import Course, Point, course, in_order
from listener.progress.figures import SCHEME, RunFigures, figures_of
from listener.progress.naming import station_names
from parser.record import Record


@dataclass(frozen=True, slots=True)
class Filters:
    """Which runs: of one learner, with one checklist, made on a day or later, and only the last so many of these."""

    learner: str | None = None
    checklist: str | None = None
    since: date | None = None
    last: int | None = None

    def __post_init__(self) -> None:
        whose(self.learner, None)
        if self.last is not None and self.last < 1:
            raise UsageError("The number of runs is a number from 1 on.")


@dataclass(frozen=True, slots=True)
class Gathered:
    """A course with the names of its stations, and what is to be said about runs that are not in it.

    ``key`` is the same for the same runs in the same state; empty where that is not known.
    """

    course: Course
    names: dict[str, str]
    remarks: tuple[str, ...]
    filters: Filters = Filters()
    key: str = ""


#: Whether a run may be seen, by whom the runs are gathered for; it is given the learner.
Allowed = Callable[[str | None], bool]


def day(text: str) -> date:
    """A day written as in ISO 8601. Raises :class:`UsageError`."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise UsageError(f"'{text[:40]}' is no day. Write it like this: 2026-09-01") from None


def gather(
    archive: Archive,
    filters: Filters = Filters(),
    *,
    anew: bool = False,
    allowed: Allowed | None = None,
    progress: Progress = silent,
) -> Gathered:
    """The course of the runs that pass the filters. ``anew`` computes every figure again, ``allowed`` leaves runs out.

    Raises :class:`StorageError`.
    """
    since = None if filters.since is None else _start_of(filters.since)
    kept = (one for one in summaries(archive, filters.learner, since) if _wanted(one, filters, allowed))
    states: dict[str, str] = {}
    found, packs, skipped = _points(archive, kept, anew, progress, states)
    runs = in_order(found)[-filters.last if filters.last else 0 :]
    names = dict(station_names(packs))
    told = course(runs, tuple(names))
    return Gathered(told, names, tuple(skipped), filters, _key(told, states, names))


def _key(told: Course, states: dict[str, str], names: dict[str, str]) -> str:
    runs = [f"{point.run} {states[point.run]} {point.learner} {point.attempt}" for point in told.points]
    return digest("\n".join([SCHEME, *runs, *names.values()]).encode())


def _start_of(moment: date) -> str:
    """A day's beginning on this machine's clock, as the archive writes times."""
    return datetime.combine(moment, time()).astimezone(UTC).isoformat(timespec="microseconds")


def _wanted(kept: Kept, filters: Filters, allowed: Allowed | None) -> bool:
    if allowed is not None and not allowed(kept.learner):
        return False
    return filters.checklist in (None, kept.head.checklist)


def _points(
    archive: Archive, kept: Iterable[Kept], anew: bool, progress: Progress, states: dict[str, str]
) -> tuple[list[Point], tuple[str, ...], list[str]]:
    """Fills ``states`` with the hash of each run's last event."""
    texts: dict[str, str] = {}
    points: list[Point] = []
    packs: dict[str, None] = {}
    under_way = silent_runs = 0
    unread: list[str] = []
    for one in kept:
        try:
            figures = _figures(archive, one, texts, anew, progress)
        except CrownsoleError:
            unread.append(one.head.id)
            continue
        if figures is None:
            under_way += 1
        elif not figures.words:
            silent_runs += 1
        else:
            packs |= dict.fromkeys(one.head.packs)
            states[one.head.id] = one.last
            points.append(_point(one, figures))
    return points, tuple(packs), list(_told(under_way, silent_runs, unread))


def _point(kept: Kept, figures: RunFigures) -> Point:
    head = kept.head
    return Point(head.id, datetime.fromisoformat(head.made_at), kept.learner, kept.attempt, head.checklist,
                 head.source, head.kind, figures)


def _told(under_way: int, silent_runs: int, unread: list[str]) -> Iterator[str]:
    for count, what in ((under_way, "under way and not counted yet"), (silent_runs, "without a word and not counted")):
        if count:
            yield f"{count} run{' is' if count == 1 else 's are'} {what}."
    if unread:
        named = ", ".join(unread[:5]) + (f" and {len(unread) - 5} more" if len(unread) > 5 else "")
        yield f"The figures of {len(unread)} run{'' if len(unread) == 1 else 's'} could not be computed: {named}."


def _figures(
    archive: Archive, kept: Kept, texts: dict[str, str], anew: bool, progress: Progress
) -> RunFigures | None:
    """The figures of a run; None while it is being written. Raises :class:`CrownsoleError` when they cannot be had."""
    if kept.body is not None and not anew:
        try:
            return RunFigures.from_json(kept.body, texts)
        except ValueError:
            """Damaged; the run itself is what counts."""
    info = archive.run(kept.head.id)
    if info.status == "under way":
        return None
    progress(f"Computing the figures of run {info.id}")
    record = _record(archive, info)
    figures = figures_of(record)
    try:
        add_summary(archive, info.id, kept.last, record.run.lexicon.version, figures.as_json())
    except StorageError:
        """Not kept, as in an archive that cannot be written: they are computed again next time."""
    return figures


def _record(archive: Archive, info: RunInfo) -> Record:
    """As it stands: filed, with the changes made since; of a run that broke off, from its words."""
    from listener.reviewing import standing_record
    from listener.runs import Options, lexicon_of

    return standing_record(archive, info.id, lexicon_of(Options(info.head.packs, info.head.checklist)))
