"""Completeness: what a complete run says at each station, and what was not heard."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from lexicon import Lexicon
from lexicon.schema.audit import ChecklistFile, Item
from lexicon.schema.matching import Rule
from parser.audit.checklists import Wanted, checklist_file, wanted
from parser.audit.doubt import PREFIX
from parser.audit.inspection import RANK, Inspection, listed
from parser.audit.unclear import Stretch, Unclear
from parser.lookup import CURRENT, Found, Lookup
from parser.record import Coverage, Entry, Record, RecordWord, Remark, Severity

#: With more stations than this not heard at all, they are told in one remark.
_MANY = 4


@dataclass(frozen=True, slots=True)
class Station:
    """How far a station was documented and which items were not heard."""

    region: str
    coverage: Coverage
    absent: tuple[Item, ...]
    wanted: int

    @property
    def missing(self) -> tuple[str, ...]:
        """The missing items in words to say."""
        return tuple(item.say for item in self.absent)


def coverage(
    entries: Record | Iterable[tuple[str, Entry]], lexicon: Lexicon, checklist: str = "complete",
    words: Sequence[RecordWord] = (),
) -> Mapping[str, tuple[Coverage, tuple[str, ...]]]:
    """Station -> (coverage, what is missing in words to say), for every station of the lexicon.

    ``entries`` are pairs of station and entry (with the ``words`` of the run), or a record. Superseded
    entries do not count. A station of which the checklist wants nothing is "documented" when anything was
    said there; else "missing" with nothing to say. Raises ValueError for an unknown checklist.
    """
    lookup = Lookup.of(entries, lexicon) if isinstance(entries, Record) else Lookup(entries, lexicon, words=words)
    covered = stations(lookup, wanted(lexicon, checklist))
    return {region: (covered[region].coverage, covered[region].missing) for region in covered}


def stations(lookup: Lookup, want: Wanted) -> Mapping[str, Station]:
    """Every station of the lexicon and of the checklist, with what was not heard."""
    file = checklist_file(lookup.lexicon)
    regions = dict.fromkeys((*lookup.lexicon.regions, *want.stations))
    return {region: _station(lookup, file, region, want.items.get(region, ())) for region in regions}


def _station(lookup: Lookup, file: ChecklistFile, region: str, items: tuple[Item, ...]) -> Station:
    said = lookup.by_region.get(region, ())
    if _deferred(lookup, file, said):
        return Station(region, "documented", (), len(items))
    due = [item for item in items if not item.when or lookup.first(item.when, CURRENT)]
    absent = tuple(item for item in due if lookup.first(item.any, CURRENT) is None)
    if not due:
        return Station(region, "documented" if said else "missing", (), 0)
    if not absent:
        return Station(region, "documented", (), len(due))
    touched = bool(said) or len(absent) < len(due)
    return Station(region, "partial" if touched else "missing", absent, len(due))


def _deferred(lookup: Lookup, file: ChecklistFile, said: Iterable[Found]) -> bool:
    """The station as a whole was said not to be assessed: that is documented."""
    return any(lookup.fits(found, match, ("not_assessed",)) for found in said for match in file.deferrals)


def check(inspection: Inspection) -> Iterator[Remark]:
    """One remark a station with what was not heard; many stations not heard at all are told together."""
    found = stations(inspection.lookup, inspection.wanted)
    gaps = [found[region] for region in inspection.wanted.stations if found[region].absent]
    silent = [station for station in gaps if station.coverage == "missing"]
    if len(silent) > _MANY:
        yield _many(inspection, silent)
        gaps = [station for station in gaps if station.coverage != "missing"]
    unclear = Unclear(inspection)
    for station in gaps:
        perhaps = unclear.perhaps(station.absent)
        told = replace(station, absent=tuple(item for item in station.absent if item.id not in perhaps))
        if told.absent:
            yield _gap(inspection, told, station.wanted - len(station.absent))
        if perhaps:
            yield _unclear(inspection, station, perhaps)


def _gap(inspection: Inspection, station: Station, heard: int) -> Remark:
    title = inspection.title(station.region)
    labels = listed([item.label for item in station.absent])
    if station.coverage == "missing":
        message = f"{title}: nothing was heard of this station. A complete run says: {labels}."
    else:
        message = f"{title}: {heard} of {station.wanted} usual items were heard; not heard: {labels}."
    words = "Say: " + "; ".join(f"“{item.say}”" for item in station.absent) + "."
    rule, factor = _weighed(inspection, station.absent)
    return inspection.remark(
        f"missing.{station.region}", rule, message, region=station.region, say=words, factor=factor
    )


def _unclear(inspection: Inspection, station: Station, perhaps: Mapping[str, Stretch]) -> Remark:
    """Items that were perhaps said, but not heard clearly: a question, no omission."""
    items = tuple(item for item in station.absent if item.id in perhaps)
    said = [f"{item.label} ({perhaps[item.id].quoted})" for item in items]
    message = f"{inspection.title(station.region)}: perhaps said, but not heard clearly: {listed(said)}."
    rule = Rule(severity="note", source=tuple(dict.fromkeys(source for item in items for source in item.source)))
    words = "Confirm what was said, or say it again: " + "; ".join(f"“{item.say}”" for item in items) + "."
    remark = inspection.remark(f"{PREFIX}missing.{station.region}", rule, message, region=station.region, say=words)
    evidence = dict.fromkeys(perhaps[item.id].evidence for item in items)
    return remark.model_copy(update={"evidence": tuple(evidence)})


def _many(inspection: Inspection, silent: list[Station]) -> Remark:
    titles = [inspection.title(station.region) for station in silent]
    message = f"{len(silent)} stations were not heard at all: {listed(titles)}."
    items = tuple(item for station in silent for item in station.absent)
    say = "Name each station as you come to it: " + listed([title.lower() for title in titles]) + "."
    rule, factor = _weighed(inspection, items)
    rule = rule.model_copy(update={"why": ""})
    return inspection.remark("missing.stations", rule, message, say=say, factor=factor)


def _weighed(inspection: Inspection, items: tuple[Item, ...]) -> tuple[Rule, float]:
    """The severity, weight, reasons and sources of several items as one rule, and a factor for their number."""
    severity: Severity = max((item.severity for item in items), key=RANK.__getitem__)
    whys = dict.fromkeys(item.why for item in items if item.why)
    weights = [item.weight * inspection.wanted.factors.get(item.id, 1.0) for item in items]
    sources = tuple(dict.fromkeys(source for item in items for source in item.source))
    rule = Rule(severity=severity, weight=min(10.0, max(weights)), why=" ".join(whys), source=sources)
    return rule, 1 + len(items) / 20
