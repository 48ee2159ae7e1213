"""What the trained part sees of a dictation: our proposals, our entries, and the words, each with its place."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import lexicon as knowledge
from parser.pipeline import understand_all
from parser.record import Record
from parser.structurer import file
from parser.tokens import tokenise
from parser.transcript import transcript_of_text
from tests.bench.synur.mapping import Plain, Proposal, entries, propose
from tests.bench.synur.scoring import Pair, plain
from tests.shared import SHARED, lines_of

SCHEMA = "synur_schema.json"
_given: list[Path] = []
Span = tuple[int, int]
Feature = str

_HESITATIONS = frozenset(["uh", "um", "er", "erm", "mm", "hmm", "mmm"])
#: Words that say nothing alone; they count inside pairs.
_COMMON = _HESITATIONS | frozenset(
    [
        "the",
        "a",
        "an",
        "and",
        "of",
        "to",
        "is",
        "are",
        "was",
        "were",
        "it",
        "its",
        "that",
        "this",
        "with",
        "for",
        "in",
        "on",
        "at",
        "as",
        "be",
        "been",
        "has",
        "have",
        "had",
        "we",
        "they",
        "their",
        "she",
        "her",
        "he",
        "his",
        "so",
        "you",
        "know",
        "also",
        "some",
        "there",
        "which",
        "or",
        "our",
        "i",
        "them",
    ]
)
_SPEAKER = re.compile(r"\[\w+\] ?")


@dataclass(frozen=True, slots=True)
class Concept:
    """One observation of the data set's schema."""

    id: str
    name: str
    type: str
    options: tuple[str, ...] = ()

    @property
    def select(self) -> bool:
        return self.type.endswith("SELECT")


@dataclass(frozen=True, slots=True)
class Case:
    """One dictation: its proposals, features with their places, words about each proposal, and its gold if known."""

    id: str
    text: str
    proposals: tuple[Proposal, ...]
    features: dict[Feature, tuple[Span, ...]]
    around: dict[Pair, frozenset[str]]
    gold: list[dict[str, Any]] | None = None
    pairs: frozenset[Pair] = field(default=frozenset())

    def own(self, name: str, value: Any = None) -> list[Proposal]:
        return [p for p in self.proposals if p.name == name and (value is None or plain(p.value) == value)]


@lru_cache(maxsize=1)
def schema() -> dict[str, Concept]:
    """The data set's observations by name, from the file given to :func:`use_schema` or the development data."""
    place = _given[-1] if _given else None
    if place is None and SHARED is None:
        raise FileNotFoundError(
            "the data set's schema is missing: put synur_schema.json beside FILE, or set CROWNSOLE_SHARED "
            "to the folder of the development data"
        )
    with open(place or f"{SHARED}/data/text/{SCHEMA}", encoding="utf-8") as stream:
        return {
            c["name"]: Concept(c["id"], c["name"], c["value_type"], tuple(c.get("value_enum") or ()))
            for c in json.load(stream)
        }


def use_schema(place: Path) -> None:
    """Read the schema from another file."""
    _given.append(place)
    schema.cache_clear()


def record_of(text: str) -> Record:
    transcript = transcript_of_text(text, "bench")
    return file(understand_all(transcript), transcript, knowledge.load(), run_id="bench")


def case_of(row: dict[str, Any]) -> Case:
    """Understand one line of the data set (its own form, or that of the development data)."""
    text = row.get("text") or _SPEAKER.sub("", row["transcript"]).replace("\n\n", " ")
    gold = row.get("annotations", row.get("observations"))
    gold = json.loads(gold) if isinstance(gold, str) else gold
    pairs: dict[str, Any] = {}
    for one in gold or ():
        pairs.setdefault(one["name"], one["value"])
    flat = frozenset((n, plain(x)) for n, v in pairs.items() for x in (v if isinstance(v, list) else [v]))
    record = record_of(text)
    proposals = tuple(propose(record, text))
    return Case(
        str(row["id"]), text, proposals, _features(record, text, proposals), _around(text, proposals), gold, flat
    )


def cases_of(path: str) -> list[Case]:
    return [case_of(row) for row in lines_of(path)]


def _features(record: Record, text: str, proposals: tuple[Proposal, ...]) -> dict[Feature, tuple[Span, ...]]:
    found: dict[Feature, list[Span]] = {}
    for p in proposals:
        value = plain(p.value) if p.name in schema() and schema()[p.name].select else ""
        found.setdefault(f"rule {p.name}={value}", []).append(p.spans[0])
    for entry in entries(record):
        status = "present" if entry.status in ("present", "normal") else entry.status
        found.setdefault(f"entry {entry.concept} {status}", []).append(entry.evidence.chars)
    for gram, span in grams(text):
        found.setdefault(f"words {gram}", []).append(span)
    return {name: tuple(spans[:3]) for name, spans in found.items()}


def grams(text: str) -> list[tuple[str, Span]]:
    """One to three words in a row, hesitations left out, with their places."""
    tokens = tokenise(text)
    kept = [
        (w, s, e)
        for w, s, e in zip(tokens.words, tokens.starts, tokens.ends, strict=True)
        if w[0].isalnum() and w not in _HESITATIONS
    ]
    out: list[tuple[str, Span]] = []
    for i, (word, start, end) in enumerate(kept):
        common = word in _COMMON
        if not common:
            out.append((word, (start, end)))
        if i + 1 < len(kept) and not (common and kept[i + 1][0] in _COMMON):
            out.append((f"{word} {kept[i + 1][0]}", (start, kept[i + 1][2])))
        if i + 2 < len(kept) and not common and kept[i + 2][0] not in _COMMON:
            out.append((f"{word} {kept[i + 1][0]} {kept[i + 2][0]}", (start, kept[i + 2][2])))
    return out


def _around(text: str, proposals: tuple[Proposal, ...]) -> dict[Pair, frozenset[str]]:
    reading = Plain.of(text)
    words: dict[Pair, frozenset[str]] = {}
    for p in proposals:
        start, end = reading.around(*reading.inside(p.spans[0]))
        said = frozenset(w for w in reading.text[start:end].replace(".", " ").split() if w not in _COMMON)
        words[p.name, plain(p.value)] = words.get((p.name, plain(p.value)), frozenset()) | said
    return words
