"""The list of kept runs as plain values: what each is, how far it got, what waits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from listener.archive import Archive, RunInfo
from listener.archive.summaries import add_summary, summaries
from listener.errors import CrownsoleError, StorageError
from listener.pages.review_desk import Desk
from listener.progress.figures import RunFigures, figures_of
from listener.wording import clock, title

#: Runs on one page of the list.
PAGE = 40

KINDS = {"live": "practised", "hear": "recording", "read": "transcript"}


@dataclass(frozen=True, slots=True)
class Cell:
    """A station in the small strip of a run."""

    title: str
    coverage: str


@dataclass(frozen=True, slots=True)
class Row:
    """A run in the list; ``figures`` in a few words, empty where there are none yet."""

    id: str
    source: str
    kind: str
    date: str
    time: str
    moment: str
    length: str
    status: str
    learner: str | None
    cells: tuple[Cell, ...]
    coverage: str
    figures: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Listed:
    """One page of the list, counted from 1."""

    rows: tuple[Row, ...]
    page: int
    pages: int
    runs: int


def listed(desk: Desk, page: int = 1, learner: str | None = None) -> Listed:
    """The runs of a page, the newest first; ``learner``: only theirs. Pages beyond the last are the last."""
    runs = desk.archive.runs(learner)
    pages = max(-(-len(runs) // PAGE), 1)
    page = min(max(page, 1), pages)
    shown = runs[(page - 1) * PAGE : page * PAGE]
    known = _figures(desk.archive, shown)
    rows = tuple(_row(desk, info, *known.get(info.id, (None, None, ""))) for info in shown)
    return Listed(rows, page, pages, len(runs))


def _figures(archive: Archive, runs: Sequence[RunInfo]) -> dict[str, tuple[RunFigures | None, str | None, str]]:
    """Run -> its kept figures (None: to be computed), its learner, and the hash of its last event."""
    wanted = {info.id for info in runs}
    since = min((info.head.made_at for info in runs), default=None)
    found: dict[str, tuple[RunFigures | None, str | None, str]] = {}
    for kept in summaries(archive, since=since):
        if kept.head.id in wanted:
            try:
                figures = RunFigures.from_json(kept.body) if kept.body is not None else None
            except ValueError:
                figures = None
            found[kept.head.id] = (figures, kept.learner, kept.last)
    return found


def _row(desk: Desk, info: RunInfo, figures: RunFigures | None, learner: str | None, last: str) -> Row:
    figures = figures or _computed(desk, info, last)
    made = datetime.fromisoformat(info.head.made_at).astimezone()
    cells: tuple[Cell, ...] = ()
    coverage = "under way" if info.status == "under way" else "cannot be read"
    if figures is not None:
        names = desk.lexicon_names()
        cells = tuple(Cell(title(s.region, names), s.coverage) for s in figures.stations)
        coverage = f"{figures.documented} of {len(cells)} stations documented" if cells else "no station spoken of"
    return Row(
        info.id,
        info.head.source,
        KINDS[info.head.kind],
        f"{made.day} {made.strftime('%B %Y')}",
        made.strftime("%H:%M"),
        info.head.made_at,
        clock(info.seconds) if info.seconds else "",
        info.status,
        learner,
        cells,
        coverage,
        tuple(_told(figures)) if figures is not None else (),
    )


def _computed(desk: Desk, info: RunInfo, last: str) -> RunFigures | None:
    """Figures that were not kept yet, or not of the run as it stands now; None for a run under way or unreadable."""
    if info.status == "under way":
        return None
    try:
        record = desk.open(info.id).shown.record
        figures = figures_of(record)
    except CrownsoleError:
        return None
    try:
        add_summary(desk.archive, info.id, last, record.run.lexicon.version, figures.as_json())
    except StorageError:
        """An archive that cannot be written is still listed."""
    return figures


def _told(figures: RunFigures) -> list[str]:
    counts = (
        (figures.urgent, "remark calls for someone", "remarks call for someone"),
        (figures.omissions, "item not heard", "items not heard"),
        (sum(fault.times for fault in figures.faults), "remark on how it was done", "remarks on how it was done"),
    )
    return [f"{count} {one if count == 1 else many}" for count, one, many in counts if count]
