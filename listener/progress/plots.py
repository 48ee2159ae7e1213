"""The plots of a course: shapes, dashes and words, no colour; each with a title and a description in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import fmean
from textwrap import shorten, wrap
from typing import TYPE_CHECKING, Any

from listener.drawing import DASHES, FAINT, QUIET, SHAPES, canvas, svg
from listener.progress.course import Change, Course
from listener.progress.naming import named
from listener.progress.wordings import amount, over

if TYPE_CHECKING:
    from collections.abc import Mapping

    from matplotlib.axes import Axes

    from listener.progress.course import StationCourse

#: Runs shown one by one in the plot of stations; the last ones.
MOST_RUNS = 30
#: Points of a line; more runs are drawn as means of as many groups of neighbours.
MOST_POINTS = 60
MOST_OMISSIONS = 10
WIDTH = 340
_ROW, _COLUMN, _LABEL, _COUNT = 24, 14, 168, 62
_FILLS: Mapping[str, Any] = {"documented": "full", "partial": "bottom", "missing": "none"}
_INK = "black"


@dataclass(frozen=True, slots=True)
class Plot:
    """``id`` names it in the page; ``markup`` is an ``svg`` element."""

    id: str
    title: str
    description: str
    markup: str


def stations(course: Course, names: Mapping[str, str]) -> Plot:
    """Stations by runs: a full square documented, half partial, hollow missing, none not wanted."""
    rows, runs = course.stations, min(len(course.points), MOST_RUNS)
    first = len(course.points) - runs
    height = len(rows) * _ROW
    room = _COUNT + 14 * max(len(str(len(course.points))) - 2, 0)
    figure, axes = canvas(_LABEL + runs * _COLUMN + room, height + 52, (_LABEL, room, 26, 26))
    for how, fill in _FILLS.items():
        marked = [(n, y) for y, row in enumerate(rows) for n in range(runs) if row.course[first + n] == how]
        axes.plot([x for x, _ in marked], [y for _, y in marked], linestyle="none", marker="s", markersize=9,
                  fillstyle=fill, color=_INK, markerfacecoloralt="none", clip_on=False)
    axes.set_xlim(-0.5, runs - 0.5)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    _station_labels(axes, rows, names)
    axes.tick_params(length=0)
    shown = sorted({0, runs - 1, *(n for n in range(runs) if (first + n + 1) % 5 == 0 and 2 < n < runs - 3)})
    axes.set_xticks(shown, [str(first + n + 1) for n in shown], fontsize=11)
    axes.xaxis.tick_top()
    for side in ("left", "bottom"):
        axes.spines[side].set_visible(False)
    for y, row in enumerate(rows):
        axes.annotate(f"{row.times('documented')} of {row.counted}", (runs - 0.5, y), (8, 0), fontsize=11, va="center",
                      textcoords="offset points", annotation_clip=False)
    title = "Stations over the runs" if not first else f"Stations over the last {runs} runs"
    told = "; ".join(f"{named(row.region, names)}: documented in {row.times('documented')} of {row.counted}"
                     for row in rows)
    return Plot("stations", title, told, svg(figure, "stations", title, told))


def _station_labels(axes: Axes, rows: Sequence[StationCourse], names: Mapping[str, str]) -> None:
    """Titles of stations beside their rows, in two lines at most."""
    titles = ["\n".join(wrap(shorten(named(row.region, names), 52, placeholder=" …"), 27)) for row in rows]
    axes.set_yticks(range(len(rows)), titles, fontsize=11, multialignment="right")


def lines(course: Course, id_: str, title: str, chosen: Sequence[str]) -> Plot | None:
    """One or several measures over the runs, told apart by shape, dash and a word at their ends."""
    changes = [change for change in course.changes if change.measure.id in chosen and change.all is not None]
    if not changes:
        return None
    alone = len(changes) == 1
    figure, axes = canvas(WIDTH, 200, (40, 52 if alone else 122, 14, 34))
    ends = [_line(axes, change, SHAPES[n], DASHES[n]) for n, change in enumerate(changes)]
    axes.set_ylim(bottom=0)
    if (top := axes.get_ylim()[1]) < 1:
        axes.set_ylim(0, 1)
    elif all(change.measure.unit == "%" for change in changes) and top > 100:
        axes.set_ylim(0, 104)
    axes.locator_params(axis="y", integer=True, nbins=5)
    axes.set_xlim(0.5, max(len(course.points), 2) + 0.5)
    axes.locator_params(axis="x", integer=True, nbins=6)
    size = _size(course.points)
    axes.set_xlabel("run" if size == 1 else f"run (means of {size} runs)", fontsize=12)
    _ends(axes, [(x, y, _last(y, c, size) if alone else f"{_short(c)} {_last(y, c, size)}")
                 for (x, y), c in zip(ends, changes, strict=True)])
    told = " ".join(over(change) for change in changes)
    return Plot(id_, title, told, svg(figure, id_, title, told))


def _line(axes: Axes, change: Change, shape: str, dash: Any) -> tuple[float, float]:
    """Draws a measure; where it ends."""
    groups = grouped(change.values)
    x, y = [x for x, _ in groups], [y for _, y in groups]
    axes.plot(x, y, color=_INK, linestyle=dash, linewidth=1.5, marker=shape if len(x) <= MOST_POINTS else None,
              markersize=5, markerfacecolor="none" if shape != SHAPES[0] else _INK, clip_on=False)
    return x[-1], y[-1]


def _last(value: float, change: Change, size: int) -> str:
    """A value at the end of a line; a mean is no whole number."""
    measure = change.measure
    return amount(value, measure if size == 1 else replace(measure, digits=max(measure.digits, 1)))


def _size(values: Sequence[object]) -> int:
    """How many runs a point of a line stands for."""
    return max(1, -(-len(values) // MOST_POINTS))


def grouped(values: Sequence[float | None]) -> list[tuple[float, float]]:
    """Number of the run and value; above :data:`MOST_POINTS` runs means of neighbours, in groups of one size."""
    size = _size(values)
    found = []
    for start in range(0, len(values), size):
        known = [(n + 1, v) for n, v in enumerate(values[start : start + size], start) if v is not None]
        if known:
            found.append((fmean(n for n, _ in known), fmean(v for _, v in known)))
    return found


def _ends(axes: Axes, ends: Sequence[tuple[float, float, str]]) -> None:
    """Words at the ends of lines, moved apart where they would stand over each other."""
    low, high = axes.get_ylim()
    least = (high - low) * 0.115
    placed: list[float] = []
    for x, y, word in sorted(ends, key=lambda end: end[1]):
        at = max([y, *(other + least for other in placed[-1:])])
        placed.append(at)
        axes.annotate(word, (x, at), (9, 0), textcoords="offset points", va="center", fontsize=12,
                      annotation_clip=False)


def _short(change: Change) -> str:
    return {"order": "order", "timing": "timing", "sides": "one side", "doubt": "to confirm",
            "correction": "corrected"}.get(change.measure.id, change.measure.label)


def times(course: Course, names: Mapping[str, str]) -> Plot | None:
    """Time at each station: a line over the middle half of the runs, a stroke at the median, a diamond the latest."""
    rows = [row for row in course.stations if row.seconds is not None]
    if not rows:
        return None
    figure, axes = canvas(WIDTH, len(rows) * _ROW + 60, (_LABEL, 24, 10, 50))
    places, spreads = range(len(rows)), [row.seconds for row in rows if row.seconds]
    axes.hlines(places, [s.low for s in spreads], [s.high for s in spreads], color=_INK, linewidth=3, alpha=QUIET)
    axes.plot([s.middle for s in spreads], places, color=_INK, marker="|", markersize=13, markeredgewidth=2,
              linestyle="none", clip_on=False)
    latest = [(row.latest_seconds, y) for y, row in enumerate(rows) if row.latest_seconds is not None]
    axes.plot([x for x, _ in latest], [y for _, y in latest], color=_INK, marker="D", markersize=6, fillstyle="none",
              linestyle="none", clip_on=False)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_xlim(left=0)
    _station_labels(axes, rows, names)
    axes.locator_params(axis="x", integer=True, nbins=4)
    axes.set_xlabel("seconds", fontsize=12)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x", color=_INK, alpha=FAINT, linewidth=0.6)
    title = "Time at each station"
    told = "; ".join(f"{named(row.region, names)}: usually {row.seconds.middle:.0f} seconds" for row in rows
                     if row.seconds)
    return Plot("times", title, told, svg(figure, "times", title, told))


def omissions(course: Course) -> Plot | None:
    """The commonest omissions as bars, each under its words."""
    rows = course.omissions[:MOST_OMISSIONS]
    if not rows:
        return None
    figure, axes = canvas(WIDTH, len(rows) * 36 + 12, (4, 76, 6, 6))
    for filled in (True, False):
        bars = [(y + 0.22, row.missed / row.counted) for y, row in enumerate(rows) if (row.since == 0) is filled]
        axes.barh([y for y, _ in bars], [share for _, share in bars], height=0.26, color=_INK, fill=filled,
                  edgecolor=_INK, linewidth=1.2)
    for y, row in enumerate(rows):
        axes.annotate(shorten(row.say, 46, placeholder=" …"), (0, y - 0.14), (0, 0), textcoords="offset points",
                      fontsize=12, va="center", annotation_clip=False)
        axes.annotate(f"{row.missed} of {row.counted}", (1, y + 0.22), (8, 0), textcoords="offset points", fontsize=12,
                      va="center", annotation_clip=False)
    axes.set_xlim(0, 1)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.axis("off")
    title = "Left out most"
    told = "; ".join(f"“{row.say}”: in {row.missed} of {row.counted} runs" for row in rows)
    return Plot("omissions", title, told, svg(figure, "omissions", title, told))
