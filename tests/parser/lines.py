"""Marked-up lines of dictation: how the files of tests/data/lines are read and compared with statements.

A file holds lines said, each followed by what they state, indented::

    words = status, stations[, side[, value]]

``words`` are words of the line; a statement answers when its evidence overlaps them and the rest agrees.
``stations`` are those that may hold it, by the first letters below. "?" before ``words`` marks a statement that
may be made or not; "~" begins a line that is not yet read right. A line is right when every mark has its
statement and no statement is without one; things done ("step") need no mark. The lines are invented, in the
manner of ward notes and dictations (common practice).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from parser.pipeline import understand_all
from parser.statements import Statement
from parser.transcript import transcript_of_text

FOLDER = Path(__file__).parents[1] / "data" / "lines"
STATIONS = {
    "pr": "preparation", "hi": "history", "gs": "general_survey", "vs": "vital_signs", "sk": "skin_hair_nails",
    "hd": "head_face", "ey": "eyes", "ea": "ears", "no": "nose_sinuses", "mo": "mouth_throat", "ne": "neck",
    "ue": "upper_extremities", "pc": "posterior_chest", "ac": "anterior_chest", "he": "heart",
    "br": "breasts_axillae", "ab": "abdomen", "gu": "genitourinary", "le": "lower_extremities",
    "ms": "musculoskeletal", "nu": "neurological", "bk": "back_sacrum_lines", "cl": "closing",
}  # fmt: skip
_NOT_DIGITS = re.compile(r"[^\d./x<>+-]")


@dataclass(frozen=True)
class Mark:
    """What a reader expects: the words it stands on, and what is said of them. None says nothing is asked."""

    words: str
    status: str
    stations: tuple[str, ...]
    side: str | None
    value: str | None
    optional: bool


@dataclass(frozen=True)
class Line:
    text: str
    marks: tuple[Mark, ...]
    file: str
    number: int
    fault: bool = False


def lines() -> Iterator[Line]:
    """Every line of every file, in order."""
    for path in sorted(FOLDER.glob("*.txt")):
        text, number, marks = "", 0, []
        for n, row in enumerate([*path.read_text("utf-8").splitlines(), "#"], 1):
            if row.startswith("  "):
                marks.append(_mark(row.strip()))
                continue
            if text:
                yield Line(text.removeprefix("~ "), tuple(marks), path.stem, number, text.startswith("~"))
            text, number, marks = ("", 0, []) if row.startswith("#") or not row.strip() else (row, n, [])


def _mark(row: str) -> Mark:
    words, _, told = row.rpartition(" = ")
    status, stations, side, value = [*(part.strip() for part in told.split(",")), "", "", ""][:4]
    optional = words.startswith("? ")
    return Mark(
        words.removeprefix("? ").strip(), status, tuple(STATIONS[s] for s in stations.split("/")), side or None,
        value or None, optional,
    )  # fmt: skip


def statements(text: str) -> list[Statement]:
    """What stands of a line that was said alone, steps left out."""
    found: list[Statement] = []
    for understood in understand_all(transcript_of_text(text, "lines")):
        for statement in understood.statements:
            if statement.amends is None and (statement.kind not in ("step", "conduct") or _is_told(statement)):
                found.append(statement)
    return found


def _is_told(statement: Statement) -> bool:
    return statement.status == "not_assessed" or statement.region == "closing"


def wrongs(line: Line) -> list[str]:
    """What is missing, other or too much, in words; empty when the line is right."""
    said = statements(line.text)
    taken: set[int] = set()
    told: list[str] = []
    at = 0
    for mark in line.marks:
        start = line.text.find(mark.words, at)
        start = start if start >= 0 else line.text.find(mark.words)
        if start < 0:
            raise ValueError(f"{line.file}:{line.number}: {mark.words!r} is not in the line")
        at = start
        over = [i for i, s in enumerate(said) if i not in taken and _overlap(s, start, start + len(mark.words))]
        fit = [i for i in over if not _differs(said[i], mark)]
        best = max(fit or over, key=lambda i: _closeness(said[i], start, start + len(mark.words)), default=None)
        if fit and best is not None:
            taken.add(best)
        elif not mark.optional:
            told.append(f"{mark.words!r}: " + ("missing" if best is None else _differs(said[best], mark)))
    told += [f"too much: {_shown(s)}" for i, s in enumerate(said) if i not in taken and s.region != "closing"]
    return told


def _overlap(statement: Statement, start: int, end: int) -> bool:
    return min(end, statement.evidence.chars[1]) > max(start, statement.evidence.chars[0])


def _closeness(statement: Statement, start: int, end: int) -> float:
    first, last = statement.evidence.chars
    return (min(end, last) - max(start, first)) / max(end - start, last - first)


def _differs(statement: Statement, mark: Mark) -> str:
    wrong = []
    if {"normal": "present"}.get(statement.status, statement.status) != mark.status:
        wrong.append("status")
    if statement.region not in mark.stations:
        wrong.append("station")
    if mark.side and statement.side != mark.side:
        wrong.append("side")
    if mark.value and (statement.value is None or _digits(statement.value.text) != _digits(mark.value)):
        wrong.append("value")
    return f"{', '.join(wrong)}, got {_shown(statement)}" if wrong else ""


def _digits(text: str) -> str:
    return _NOT_DIGITS.sub("", text)


def _shown(s: Statement) -> str:
    value = s.value.text if s.value else None
    return f"{s.concept} {s.status} {s.region} {s.site} {s.side} {value} {s.evidence.text!r}"
