"""Checks of the rules of the audit: every name they use exists, nothing overlaps, no order runs in a circle."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import combinations
from typing import TYPE_CHECKING, Any

from lexicon.schema.base import Entry
from lexicon.schema.scores import RangesFile, Row, ScoresFile, Table

if TYPE_CHECKING:
    from lexicon.loading import Lexicon

#: Files of rules; what stands in them is checked for names of concepts, sites, stations and sources.
_FILES = ("checklist", "order", "timing", "sides", "details", "contradictions", "cautions", "ranges", "scores")


def faults(lexicon: "Lexicon") -> Iterator[str]:
    """Every fault of the rules as a sentence with file and line."""
    known = _Known(lexicon)
    for name in _FILES:
        file = lexicon.files.get(name)
        if file is not None:
            yield from _names(known, file, name)
    yield from _checklists(known, lexicon)
    yield from _kinds(known, lexicon)
    yield from _order(known, lexicon)
    yield from _ranges(known, lexicon)
    yield from _scores(known, lexicon)


class _Known:
    """All names a rule may use, and where entries stand."""

    def __init__(self, lexicon: "Lexicon") -> None:
        self.lexicon = lexicon
        measures, scales = lexicon.files.get("measures"), lexicon.files.get("scales")
        named = (*getattr(measures, "measures", ()), *getattr(scales, "scales", ()))
        self.pools: Mapping[str, frozenset[str]] = {
            "concept": frozenset((*lexicon.concepts, *(entry.id for entry in named))),
            "site": frozenset(lexicon.sites),
            "station": frozenset(lexicon.regions),
            "source": frozenset((*lexicon.sources, "V", "S", "M", "C")),
        }

    def where(self, field: str, name: str, file: str) -> str:
        return self.lexicon.origins.get((field, name), f"{file}.yaml")

    def check(self, names: Iterable[str], what: str, where: str) -> Iterator[str]:
        from lexicon.checks import known  # late: checks calls this module

        yield from known(names, self.pools[what], what, where)


#: Key of a rule -> what the names in it are.
_KEYS = {
    "concepts": "concept", "concept": "concept", "measure": "concept", "said_as": "concept", "exempt": "concept",
    "sites": "site", "not_sites": "site", "members": "site",
    "regions": "station", "region": "station", "stations": "station", "free_stations": "station", "groups": "station",
    "source": "source",
}


def _names(known: _Known, file: Entry, name: str) -> Iterator[str]:
    for field in type(file).model_fields:
        value = getattr(file, field)
        if isinstance(value, tuple) and value and isinstance(value[0], Entry):
            for entry in value:
                yield from _walk(known, entry, known.where(field, getattr(entry, "id", ""), name))
        else:
            yield from _field(known, field, value, f"{name}.yaml")


def _walk(known: _Known, entry: Entry, where: str) -> Iterator[str]:
    for field in type(entry).model_fields:
        yield from _field(known, field, getattr(entry, field), where)


def _field(known: _Known, field: str, value: Any, where: str) -> Iterator[str]:
    if isinstance(value, Entry):
        yield from _walk(known, value, where)
    elif isinstance(value, tuple):
        for item in value:
            yield from _field(known, field, item, where)
    elif isinstance(value, str) and field in _KEYS:
        yield from known.check((value,), _KEYS[field], where)


def _checklists(known: _Known, lexicon: "Lexicon") -> Iterator[str]:
    file: Any = lexicon.files.get("checklist")
    items = {item.id for item in getattr(file, "items", ())}
    lists = {entry.id for entry in getattr(file, "lists", ())}
    for entry in getattr(file, "lists", ()):
        where = known.where("lists", entry.id, "checklist")
        for name in (*entry.include, *entry.leave_out, *entry.weigh):
            if name not in items:
                yield f"{where}: there is no checklist item '{name}'"
        if entry.based_on and entry.based_on not in lists:
            yield f"{where}: there is no checklist '{entry.based_on}'"


def _kinds(known: _Known, lexicon: "Lexicon") -> Iterator[str]:
    for family in getattr(lexicon.files.get("contradictions"), "kinds", ()):
        where = known.where("kinds", family.id, "contradictions")
        yield from known.check((family.id, *family.of), "concept", where)


def _order(known: _Known, lexicon: "Lexicon") -> Iterator[str]:
    file: Any = lexicon.files.get("order")
    acts = {act.id for act in getattr(file, "acts", ())}
    after: dict[str, set[str]] = {}
    for rule in getattr(file, "sequences", ()):
        where = known.where("sequences", rule.id, "order")
        for name in rule.acts:
            if name not in acts:
                yield f"{where}: there is no act '{name}'"
        for earlier, later in zip(rule.acts, rule.acts[1:], strict=False):
            if earlier == later or _reaches(after, later, earlier):
                yield f"{where}: '{earlier}' before '{later}' closes a circle with rules above it; leave one out"
            after.setdefault(earlier, set()).add(later)


def _reaches(after: Mapping[str, set[str]], start: str, goal: str) -> bool:
    seen, waiting = set(), [start]
    while waiting:
        here = waiting.pop()
        if here == goal:
            return True
        if here not in seen:
            seen.add(here)
            waiting.extend(after.get(here, ()))
    return False


def _ranges(known: _Known, lexicon: "Lexicon") -> Iterator[str]:
    file = lexicon.files.get("ranges")
    if not isinstance(file, RangesFile):
        return
    ages = {age.id for age in file.ages}
    for one, other in combinations(file.ages, 2):
        if one.from_years < other.to_years and other.from_years < one.to_years:
            yield f"{known.where('ages', other.id, 'ranges')}: the age band '{other.id}' overlaps '{one.id}'"
    for rule in file.ranges:
        where = known.where("ranges", rule.id, "ranges")
        yield from (f"{where}: there is no age band '{age}'" for age in rule.ages if age not in ages)
    for a, b in combinations(file.ranges, 2):
        same = (a.measure, a.part) == (b.measure, b.part) and set(a.ages) & set(b.ages)
        if same and (set(a.words) & set(b.words) or not (a.words or b.words)):
            yield f"{known.where('ranges', b.id, 'ranges')}: the range '{b.id}' overlaps '{a.id}' ({', '.join(same)})"


def _scores(known: _Known, lexicon: "Lexicon") -> Iterator[str]:
    file = lexicon.files.get("scores")
    if not isinstance(file, ScoresFile):
        return
    tables = {table.id for table in file.tables}
    for score in file.scores:
        if score.bands and score.bands not in tables:
            yield f"{known.where('scores', score.id, 'scores')}: there is no table '{score.bands}'"
    for table in file.tables:
        where = known.where("tables", table.id, "scores")
        for one, other in combinations(table.rows, 2):
            if _meet(table, one, other):
                yield f"{where}: the bands '{one.label}' and '{other.label}' of '{table.id}' overlap"


def _meet(table: Table, one: Row, other: Row) -> bool:
    """Whether some value lies in both rows: then one at, or a step beside, a limit of either does."""
    if None not in (one.oxygen, other.oxygen) and one.oxygen != other.oxygen:
        return False
    limits = [getattr(row, key) for row in (one, other) for key in ("at_least", "above", "below", "at_most")]
    near = [limit + step for limit in limits if limit is not None for step in (-table.step, 0.0, table.step)]
    return any(one.holds(round(value, 6)) and other.holds(round(value, 6)) for value in near or [0.0])
