"""From our record to the data set's observations, by the rows of ``mapping.yaml``.

A row names an observation, a value and what must hold of one entry of the record:

``concept`` / ``site`` / ``status`` / ``side``  what the entry is (status: present or normal when left out)
``text``      pattern in the words of the entry's evidence; ``untext`` one that must not be there
``said``      pattern in the words around it (its sentence, at most :data:`REACH` words each way)
``unsaid``    pattern that must not be there
``number``    true: the entry must have a number; false: it must have none
``low``/``high``  bounds of the number

A row with ``words`` instead of ``concept`` reads the dictation itself: free text, scale words of the data set, and
what the record says in other words. ``value`` is the value, or a template: ``{number}``, ``{grade}`` (the value as
filed), ``{first}`` (first of a pair) and ``{1}`` (first group of the ``said``/``words`` pattern). Words are matched in
lower case, hesitations taken out and numbers said in words as figures. ``follows`` names another observation: the row
gives its value wherever that one is given (units).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import yaml

from lexicon import load
from parser.components.numbers import find_numbers
from parser.grammar import grammar
from parser.record import Entry, Record
from parser.tokens import tokenise

REACH = 14
#: Shapes of number whose words are read as figures before patterns look at them.
_FIGURED = frozenset(["integer", "decimal", "pair", "score", "grade", "times", "stage"])
_HESITATION = re.compile(r"\b(?:uh|um|er|erm|mm+|hmm+|uhm|you know|like i said|let's see)\b[,.…]*|\.\.\.|…|[—–]")
_END = re.compile(r"[.!?;](?=\s|$)|\n")


@dataclass(frozen=True, slots=True)
class Proposal:
    """One observation proposed: value as the schema has it, and the stretches of text it rests on."""

    name: str
    value: str | float
    spans: tuple[tuple[int, int], ...]
    row: int = -1


@dataclass(frozen=True, slots=True)
class Row:
    number_of: int
    name: str
    value: str
    concept: frozenset[str] = frozenset()
    status: frozenset[str] = frozenset(["present", "normal"])
    site: frozenset[str] = frozenset()
    side: frozenset[str] = frozenset()
    text: re.Pattern[str] | None = None
    untext: re.Pattern[str] | None = None
    said: re.Pattern[str] | None = None
    unsaid: re.Pattern[str] | None = None
    words: re.Pattern[str] | None = None
    number: bool | None = None
    low: float = field(default=float("-inf"))
    high: float = field(default=float("inf"))
    follows: str | None = None


@dataclass(frozen=True, slots=True)
class Plain:
    """The text in lower case with hesitations blanked, as long as the text."""

    text: str
    places: tuple[int, ...]
    ends: tuple[int, ...]
    whole: str

    @classmethod
    def of(cls, text: str) -> Plain:
        lowered = text.lower()
        lowered = lowered if len(lowered) == len(text) else text
        lowered = _HESITATION.sub(lambda m: "\0" * len(m.group()), lowered.replace("’", "'"))
        figures = _figures(text)
        kept: list[str] = []
        places: list[int] = []
        ends: list[int] = []
        past = 0
        for i, char in enumerate(lowered):
            if i in figures:
                said, past = figures[i]
                kept += said
                places += [i] * len(said)
                ends += [past] * len(said)
            if i < past:
                continue
            c = " " if char.isspace() or char in '\0,"“”()[]' else char
            if c == " " and kept and kept[-1] == " ":
                continue
            kept.append(c)
            places.append(i)
            ends.append(i + 1)
        return cls("".join(kept), (*places, len(text)), tuple(ends), text)

    def inside(self, chars: tuple[int, int]) -> tuple[int, int]:
        """Places in the plain text of a stretch of the text."""
        return _lower(self.places, chars[0]), _lower(self.places, chars[1])

    def back(self, start: int, end: int) -> tuple[int, int]:
        """The stretch of the text that a stretch of the plain text came from."""
        return self.places[start], (self.ends[end - 1] if end > start else self.places[start])

    def around(self, start: int, end: int) -> tuple[int, int]:
        """The sentence about a stretch, at most REACH words each way."""
        first = last = None
        for m in _END.finditer(self.text, max(0, start - 200), start):
            first = m.end()
        m2 = _END.search(self.text, end)
        last = m2.start() if m2 else len(self.text)
        first = first if first is not None else max(0, start - 200)
        before = self.text[first:start].split(" ")
        if len(before) > REACH:
            first = start - len(" ".join(before[-REACH:]))
        after = self.text[end:last].split(" ")
        if len(after) > REACH:
            last = end + len(" ".join(after[: REACH + 1]))
        return first, last


def _figures(text: str) -> dict[int, tuple[str, int]]:
    """Numbers said in words, by where they begin: the number in figures and where its words end (the unit stays)."""
    found: dict[int, tuple[str, int]] = {}
    tokens = tokenise(text)
    names = grammar(load()).anchors
    for number in find_numbers(tokens, load()):
        words = tokens.words[number.start : number.end]
        reading = number.readings[0]
        if any(c.isdigit() for w in words for c in w) or reading.shape not in _FIGURED:
            continue
        last = number.end
        if reading.shape in ("integer", "decimal"):
            named = [i for i in range(number.start, number.end) if tokens.words[i] in names]
            last = named[-1] + 1 if named else number.end
        found[tokens.starts[number.start]] = (reading.text, tokens.ends[last - 1])
    return found


def _lower(places: tuple[int, ...], at: int) -> int:
    lo, hi = 0, len(places) - 1
    while lo < hi:
        mid = (lo + hi) // 2
        if places[mid] < at:
            lo = mid + 1
        else:
            hi = mid
    return lo


def _many(value: Any) -> frozenset[str]:
    return frozenset([value] if isinstance(value, str) else value or [])


def _pattern(value: str | None) -> re.Pattern[str] | None:
    return re.compile(rf"(?<!\w)(?:{value})") if value else None


@lru_cache(maxsize=1)
def rows() -> tuple[Row, ...]:
    """The rows of ``mapping.yaml``."""
    data = yaml.safe_load((Path(__file__).parent / "mapping.yaml").read_text(encoding="utf-8"))
    out: list[Row] = []
    for name, given in data.items():
        for one in given:
            out.append(
                Row(
                    len(out),
                    name,
                    str(one["value"]),
                    _many(one.get("concept")),
                    _many(one.get("status")) or frozenset(["present", "normal"]),
                    _many(one.get("site")),
                    _many(one.get("side")),
                    _pattern(one.get("text")),
                    _pattern(one.get("untext")),
                    _pattern(one.get("said")),
                    _pattern(one.get("unsaid")),
                    _pattern(one.get("words")),
                    one.get("number"),
                    one.get("low", float("-inf")),
                    one.get("high", float("inf")),
                    one.get("follows"),
                )
            )
    return tuple(out)


def entries(record: Record) -> list[Entry]:
    """Standing entries in the order they were said."""
    every = [e for region in record.regions for e in region.entries if e.superseded_by is None]
    return sorted(every, key=lambda e: e.evidence.chars)


def propose(record: Record, text: str) -> list[Proposal]:
    """Every proposal of every row, in the order of the text."""
    plain = Plain.of(text)
    by_concept: dict[str, list[Entry]] = {}
    for entry in entries(record):
        by_concept.setdefault(entry.concept, []).append(entry)
    found: list[Proposal] = []
    for row in rows():
        if row.words is not None:
            found += _from_words(row, plain)
        for concept in row.concept:
            found += [p for entry in by_concept.get(concept, ()) if (p := _from_entry(row, entry, plain)) is not None]
    found += [
        Proposal(row.name, row.value, p.spans, row.number_of)
        for row in rows()
        if row.follows
        for p in found
        if p.name == row.follows
    ]
    return sorted(found, key=lambda p: (p.spans[0], p.row))


def _from_words(row: Row, plain: Plain) -> list[Proposal]:
    assert row.words is not None
    out = []
    for match in row.words.finditer(plain.text):
        start, end = plain.around(*match.span())
        around = plain.text[start:end]
        if (row.said and not row.said.search(around)) or (row.unsaid and row.unsaid.search(around)):
            continue
        value = _fill(row.value, _groups(match, plain, 0), None)
        if value is not None:
            out.append(Proposal(row.name, value, (plain.back(*match.span()),), row.number_of))
    return out


def _from_entry(row: Row, entry: Entry, plain: Plain) -> Proposal | None:
    if entry.status not in row.status and "any" not in row.status:
        return None
    if row.site and not row.site & frozenset((entry.site or "").split(" and ")):
        return None
    if row.side and (entry.side or "none") not in row.side:
        return None
    number = entry.value.number if entry.value else None
    if row.number is not None and (entry.value is not None) != row.number:
        return None
    if number is not None and not row.low <= number <= row.high:
        return None
    inside = plain.inside(entry.evidence.chars)
    start, end = plain.around(*inside)
    around = plain.text[start:end]
    said = row.said.search(around) if row.said else None
    if (row.said and not said) or (row.unsaid and row.unsaid.search(around)):
        return None
    own = plain.text[inside[0] : inside[1]]
    if (row.text and not row.text.search(own)) or (row.untext and row.untext.search(own)):
        return None
    value = _fill(row.value, _groups(said, plain, start) if said else {}, entry)
    spans = [entry.evidence.chars]
    if said is not None:
        spans.append(plain.back(start + said.start(), start + said.end()))
    return Proposal(row.name, value, tuple(spans), row.number_of) if value is not None else None


def _groups(match: re.Match[str], plain: Plain, shift: int) -> dict[str, str]:
    """The groups of a match as they stand in the dictation, hesitations left out."""
    found: dict[str, str] = {}
    for i in range(1, len(match.groups()) + 1):
        if match.group(i) and any(c.isdigit() for c in match.group(i)):
            found[str(i)] = match.group(i).strip(" .,")
        elif match.group(i):
            start, end = plain.back(shift + match.start(i), shift + match.end(i))
            said = _HESITATION.sub(" ", plain.whole[start:end].lower().replace("’", "'"))
            found[str(i)] = re.sub(r"(?:\s*,)+", ",", " ".join(said.split())).strip(" .,")
    return found


def _fill(template: str, groups: dict[str, str], entry: Entry | None) -> str | float | None:
    if "{" not in template:
        return template
    value = entry.value if entry else None
    if template == "{first}":
        return float(value.text.split("/")[0]) if value and "/" in value.text else None
    if template == "{number}":
        return value.number if value else None
    given: dict[str, str | None] = {
        "grade": value.text if value else None,
        "number": f"{value.number:g}" if value and value.number is not None else None,
    }
    given |= groups
    try:
        filled = re.sub(r"\{(\w+)\}", lambda m: given[m.group(1)] or _fail(), template)
    except KeyError:
        return None
    return filled or None


def _fail() -> str:
    raise KeyError
