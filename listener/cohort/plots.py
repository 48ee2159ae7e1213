"""How the runs of a cohort are spread over a measure: columns of equal width, a stroke at the median, in words too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor, log10
from statistics import median
from typing import TYPE_CHECKING

from listener.drawing import FAINT, canvas, svg

if TYPE_CHECKING:
    from listener.progress.course import Measure

_COLUMNS = 10
_INK = "black"


@dataclass(frozen=True, slots=True)
class Plot:
    """``markup`` is an ``svg`` element with a title and a description; ``rows`` tell the same as a table."""

    id: str
    title: str
    markup: str
    rows: tuple[tuple[str, str], ...]


def spreads(measure: Measure, values: Sequence[float]) -> Plot:
    """How many runs lie in each of the columns of a measure."""
    low, high = 0.0, 100.0 if measure.unit == "%" else _COLUMNS * _round_step(max(*values, 1.0) / _COLUMNS)
    width = (high - low) / _COLUMNS
    counts = [0] * _COLUMNS
    for value in values:
        counts[min(int((value - low) / width), _COLUMNS - 1)] += 1
    edges = [low + n * width for n in range(_COLUMNS + 1)]
    digits = 0 if width >= 1 else 1
    rows = tuple((f"{edges[n]:.{digits}f} to {edges[n + 1]:.{digits}f}", str(count)) for n, count in enumerate(counts))
    title = f"{measure.label}{f', {measure.unit}' if measure.unit else ''}: runs by value"
    middle = median(values)
    told = f"Median {middle:.{digits}f}. " + "; ".join(f"{span}: {count}" for span, count in rows if count != "0")
    return Plot(measure.id, title, _drawn(measure, edges, counts, middle, title, told), rows)


def _round_step(least: float) -> float:
    """The next width of a column that reads well: 1, 2 or 5 of a power of ten."""
    power = 10.0 ** floor(log10(least))
    return next(step * power for step in (1, 2, 5, 10) if step * power >= least * 0.999)


def _drawn(measure: Measure, edges: Sequence[float], counts: Sequence[int], middle: float, title: str,
           told: str) -> str:
    width = edges[1] - edges[0]
    figure, axes = canvas(320, 190, (36, 14, 22, 40))
    axes.bar(edges[:-1], counts, width=width * 0.86, align="edge", color="none", edgecolor=_INK, linewidth=1.3)
    for edge, count in zip(edges, counts, strict=False):
        if count:
            axes.annotate(str(count), (edge + width * 0.43, count), (0, 3), textcoords="offset points", ha="center",
                          fontsize=11)
    axes.axvline(middle, color=_INK, linewidth=2.2, dashes=(4, 2))
    right = middle > (edges[0] + edges[-1]) / 2
    axes.annotate("median", (middle, 1), (-3 if right else 3, 4), xycoords=("data", "axes fraction"),
                  textcoords="offset points", ha="right" if right else "left", fontsize=11, annotation_clip=False)
    axes.set_xlim(edges[0], edges[-1])
    axes.set_ylim(0, max(counts) * 1.15)
    axes.locator_params(axis="x", integer=True, nbins=6)
    axes.locator_params(axis="y", integer=True, nbins=4)
    axes.grid(axis="y", color=_INK, alpha=FAINT, linewidth=0.6)
    axes.set_xlabel(measure.unit or measure.label.lower(), fontsize=12)
    axes.set_ylabel("")
    return svg(figure, f"spread-{measure.id}", title, told)
