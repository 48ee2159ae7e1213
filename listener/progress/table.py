"""The course of runs as CSV (a line a run, for a spreadsheet) and as JSON (``crownsole-progress/1``)."""

from __future__ import annotations

import csv
import io
from dataclasses import asdict
from typing import Any

from listener.progress.course import MEASURES, Point
from listener.progress.gathering import Gathered
from parser.note.table import safe

SCHEMA = "crownsole-progress/1"
COLUMNS = ("run", "made_at", "learner", "attempt", "checklist", "source", "words", "entries", "doubtful", "corrected",
           "by_hand", "confirmed", "urgent")


def as_csv(gathered: Gathered) -> str:
    """A line a run, the oldest first, with a heading line; RFC 4180. Two columns a station: coverage and seconds."""
    course = gathered.course
    regions = [station.region for station in course.stations]
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([*COLUMNS, *(measure.id for measure in MEASURES), *regions, *(f"{r}_s" for r in regions)])
    for point in course.points:
        writer.writerow([safe(cell) for cell in _cells(point, regions)])
    return out.getvalue()


def _cells(point: Point, regions: list[str]) -> list[str]:
    figures = point.figures
    stations = {station.region: station for station in figures.stations}
    numbers = (figures.words, figures.entries, figures.doubtful, figures.corrected, figures.by_hand, figures.confirmed,
               figures.urgent)
    measured = (measure.of(figures) for measure in MEASURES)
    return [
        point.run,
        point.made_at.isoformat(timespec="seconds"),
        point.learner or "",
        "" if point.attempt is None else str(point.attempt),
        point.checklist,
        point.source,
        *map(str, numbers),
        *("" if value is None else f"{value:.4g}" for value in measured),
        *(stations[region].coverage if region in stations else "" for region in regions),
        *(_seconds(stations[region].seconds) if region in stations else "" for region in regions),
    ]


def _seconds(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def as_json(gathered: Gathered) -> dict[str, Any]:
    """Everything that the page tells, as plain JSON."""
    course = gathered.course
    return {
        "schema": SCHEMA,
        "runs": [_run(point) for point in course.points],
        "measures": [
            {"id": c.measure.id, "label": c.measure.label, "unit": c.measure.unit, "values": list(c.values),
             "first": c.first, "last": c.last, "spread": asdict(c.all) if c.all else None}
            for c in course.changes
        ],
        "stations": [{"title": gathered.names.get(row.region, row.region), **asdict(row)} for row in course.stations],
        "omissions": [asdict(omission) for omission in course.omissions],
        "faults": [asdict(fault) for fault in course.recurring],
        "remarks": list(gathered.remarks),
    }


def _run(point: Point) -> dict[str, Any]:
    head = {"run": point.run, "made_at": point.made_at.isoformat(), "learner": point.learner,
            "attempt": point.attempt, "checklist": point.checklist, "source": point.source, "kind": point.kind}
    return {**head, "figures": asdict(point.figures)}



