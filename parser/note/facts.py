"""What a note must carry over: each standing entry reduced to what it states."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from parser.record import Entry, Record
from parser.statements import Statement


class Fact(NamedTuple):
    """One thing stated: what, whether, where, on which side, how much, and for a measure how it was taken."""

    concept: str
    status: str
    site: str | None
    side: str | None
    value: str | None
    unit: str | None
    taken: tuple[str, ...] = ()


def fact_of_entry(entry: Entry) -> Fact:
    """The fact that an entry states."""
    value = entry.value
    return Fact(entry.concept, entry.status, entry.site, entry.side, value.text if value else None,
                value.unit if value else None, _taken(entry.kind, entry.qualifiers))


def fact_of_statement(statement: Statement) -> Fact:
    """The fact that a statement states, written as its entry would be."""
    value, site = statement.value, statement.site
    return Fact(statement.concept, statement.status, site.replace("_", " ") if site else None, statement.side,
                value.text if value else None, value.unit if value else None,
                _taken(statement.kind, statement.qualifiers))


def _taken(kind: str, qualifiers: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted(set(qualifiers))) if kind == "measure" else ()


def standing(record: Record) -> tuple[tuple[str, Entry], ...]:
    """Region and entry of all that was not superseded, in record order."""
    return tuple((region.region, entry) for region in record.regions for entry in region.entries
                 if entry.superseded_by is None)


def facts_of(entries: Iterable[Entry]) -> dict[Fact, tuple[Entry, ...]]:
    """Every fact with the entries that state it, in order."""
    facts: dict[Fact, tuple[Entry, ...]] = {}
    for entry in entries:
        fact = fact_of_entry(entry)
        facts[fact] = (*facts.get(fact, ()), entry)
    return facts
