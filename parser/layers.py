"""The typed values that pipeline components compute over the tokens of one utterance.

Every component reads earlier layers from the Doc and writes exactly one of its own. Positions are
indices into :class:`parser.tokens.Tokens`, ``[start, end)``; values are frozen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from parser.statements import Side, Status, Value


@dataclass(frozen=True, slots=True)
class Repair:
    """Tokens ``[start, end)`` before repair were heard as ``heard`` and are read as ``text``.

    ``chars`` is the place in the text of the utterance; ``reason`` the entry or rule behind it.
    """

    start: int
    end: int
    chars: tuple[int, int]
    heard: str
    text: str
    reason: str


@dataclass(frozen=True, slots=True)
class Term:
    """What one spoken form can stand for.

    ``kind`` is "region", "heading" (a station's name that is a common word), "site", "concept",
    "measure" or "scale"; ``absent`` marks forms such as "nontender".
    """

    kind: str
    id: str
    absent: bool = False


@dataclass(frozen=True, slots=True)
class Mention:
    """A place where a spoken form of the lexicon stands; several terms when the form is ambiguous."""

    start: int
    end: int
    terms: tuple[Term, ...]


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to read a number expression.

    ``text`` is canonical ("128/82", "2+", "5/5", "3x2x0.2", "<2", "98.6", "2-3", "x4", "14:32");
    ``numbers`` its parts in order; ``unit`` a UCUM code when a unit was said.
    """

    shape: str
    text: str
    numbers: tuple[float, ...]
    unit: str | None = None


@dataclass(frozen=True, slots=True)
class Number:
    """A number expression and its possible readings, the likeliest first. The slot decides."""

    start: int
    end: int
    readings: tuple[Reading, ...]


@dataclass(frozen=True, slots=True)
class Aside:
    """Words that are not dictation: talk to the person, to the tool, thinking aloud, teaching talk."""

    start: int
    end: int
    kind: Literal["conduct", "direction", "chat"]
    id: str | None = None


@dataclass(frozen=True, slots=True)
class Boundary:
    """A new statement begins at token ``at``; ``reason`` is shown by ``--explain`` and in tests."""

    at: int
    reason: str


@dataclass(frozen=True, slots=True)
class Assertion:
    """The status of one span, and the cue that gave it (None: no cue, said as it is)."""

    status: Status | Literal["hypothetical"]
    cue: tuple[int, int] | None = None
    cue_text: str | None = None


@dataclass(frozen=True, slots=True)
class SideMention:
    """A side said at ``[start, end)``; ``comparison`` for "left greater than right"."""

    start: int
    end: int
    side: Side
    comparison: str | None = None


@dataclass(frozen=True, slots=True)
class SlotValue:
    """A number filled into the slot of a measure, scale or finding mention.

    ``mention`` is the index of the mention in the terms layer, or None for a number that names its
    own measure ("one twenty over eighty" can only be a blood pressure; then ``measure`` says so).
    ``doubts`` are reasons to confirm; ``other`` is the second reading, in canonical text.
    """

    mention: int | None
    measure: str | None
    start: int
    end: int
    value: Value
    qualifiers: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    other: str | None = None


@dataclass(frozen=True, slots=True)
class Correction:
    """A spoken correction at ``[start, end)``: "replace" takes what follows, "withdraw" takes back.

    Not ``sure`` when the words are a correction only if something that can replace follows ("actually").
    """

    start: int
    end: int
    action: Literal["replace", "withdraw"]
    sure: bool = True


@dataclass(frozen=True, slots=True)
class Station:
    """From token ``at`` on, the station ``region`` is current because it was announced."""

    at: int
    region: str


@dataclass(frozen=True, slots=True)
class SiteUse:
    """A site as it was said at ``[start, end)``; start == end when it comes from before or from the lexicon."""

    id: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Finding:
    """A concept mention with the place it is about.

    ``absent`` when the form itself says so ("nontender"); ``normal`` when a normal word belongs to
    it ("turgor normal"). ``sites`` are what it was said of; ``clause`` counts from 0 within the
    utterance. ``mention`` is its index in the terms layer. ``attributes`` are words that tell how it
    is ("firm" of a mass), or what it is taken for.
    """

    mention: int
    start: int
    end: int
    kind: str
    id: str
    region: str
    sites: tuple[SiteUse, ...] = ()
    absent: bool = False
    normal: tuple[int, int] | None = None
    clause: int = 0
    attributes: tuple[tuple[int, int], ...] = ()
