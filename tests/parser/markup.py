"""Reads marked-up sentences: ``deny <absent>chest pain</absent> has <present>nausea</present>``."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from parser.statements import STATUSES

TAGS = frozenset(STATUSES) | {"hypothetical"}
_TAG = re.compile(r"<(/?)(\w+)>")


@dataclass(frozen=True)
class Marked:
    """A text and what is expected of its character spans ``[start, end)``."""

    text: str
    spans: tuple[tuple[int, int], ...]
    expected: tuple[str, ...]


def read_marked(line: str) -> Marked:
    """One line. Raises ValueError for a tag that is unknown, not closed, not opened or crossing another."""
    text, opened, found, at = "", None, [], 0
    for match in _TAG.finditer(line):
        text += line[at : match.start()]
        at = match.end()
        closing, name = match.groups()
        if name not in TAGS:
            raise ValueError(f"unknown tag <{name}> in {line!r}")
        if not closing and opened is None:
            opened = (name, len(text))
        elif closing and opened is not None and opened[0] == name and len(text) > opened[1]:
            found.append(((opened[1], len(text)), name))
            opened = None
        else:
            raise ValueError(f"<{closing}{name}> does not match what is open in {line!r}")
    if opened is not None:
        raise ValueError(f"<{opened[0]}> is never closed in {line!r}")
    return Marked(text + line[at:], tuple(span for span, _ in found), tuple(name for _, name in found))


def read_table(path: Path) -> list[Marked]:
    """All cases of a file, without comments. Raises ValueError for a case that expects nothing."""
    cases = []
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        if line.strip() and not line.startswith("#"):
            case = read_marked(line.strip())
            if not case.spans:
                raise ValueError(f"{path.name}, line {number}: no expectation in {line!r}")
            cases.append(case)
    return cases
