"""Finds entries of a record by matchers, each in time linear in the candidates.

Rules (audit) and scores ask through this one view: which entries stand (superseded ones do not),
in the order in which they were said, by concept, by site with all its parts, and by number.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from heapq import merge
from operator import attrgetter

from lexicon import Lexicon
from lexicon.schema.matching import Match
from parser.conversion import convert, years
from parser.record import Entry, Measure, Record, RecordWord
from parser.statements import AND

#: Statuses that say something about the person now.
CURRENT = ("present", "absent", "normal", "not_assessed", "uncertain")
#: Statuses that say a thing is so, or not so, now.
STATED = ("present", "absent", "normal")

_PLACE = attrgetter("place")
_NUMBER = re.compile(r"([<>≤≥])?\s*(\d+(?:\.\d+)?)")
_WORD = re.compile(r"[\w']+")
_BEFORE, _AFTER = 6, 10


@dataclass(frozen=True, slots=True)
class Found:
    """A standing entry and its station; ``place`` orders entries as they were said."""

    entry: Entry
    region: str
    place: tuple[int, int]

    @property
    def start(self) -> float | None:
        return self.entry.evidence.start

    @property
    def end(self) -> float | None:
        return self.entry.evidence.end


class Lookup:
    """The standing entries of one record. Built once for a run; answers are cached where it pays."""

    def __init__(
        self, entries: Iterable[tuple[str, Entry]], lexicon: Lexicon, record: Record | None = None,
        words: Sequence[RecordWord] = (),
    ) -> None:
        self.lexicon = lexicon
        self.record = record
        self.words = record.words if record else words
        gone = _superseded(record)
        standing = _without_echoes([(r, e) for r, e in entries if e.superseded_by is None and e.id not in gone])
        self.found = tuple(
            sorted((Found(e, r, (e.evidence.words[0], n)) for n, (r, e) in enumerate(standing)), key=lambda f: f.place)
        )
        self._chains: dict[str | None, tuple[str, ...]] = {}
        self.by_concept: dict[str, list[Found]] = defaultdict(list)
        self.by_site: dict[str, list[Found]] = defaultdict(list)
        self.by_region: dict[str, list[Found]] = defaultdict(list)
        for found in self.found:
            self.by_concept[found.entry.concept].append(found)
            self.by_region[found.region].append(found)
            for site in self.ancestors(found.entry.site):
                self.by_site[site].append(found)
        self._nearby: dict[str, tuple[str, ...]] = {}

    @classmethod
    def of(cls, record: Record, lexicon: Lexicon) -> "Lookup":
        entries = ((region.region, entry) for region in record.regions for entry in region.entries)
        return cls(entries, lexicon, record)

    @cached_property
    def measures(self) -> Mapping[str, Measure]:
        """Entry id -> its measure in plain numbers."""
        return {m.entry: m for ms in (self.record.measures if self.record else {}).values() for m in ms}

    @cached_property
    def corrected(self) -> Mapping[str, Entry]:
        """Entry id -> the entry that it corrects."""
        if self.record is None:
            return {}
        known = self.record.entries()
        pairs = ((a.entry, known.get(a.supersedes)) for a in self.record.amendments)
        return {new: old[1] for new, old in pairs if new is not None and old is not None}

    @cached_property
    def timed(self) -> bool:
        return any(found.start is not None for found in self.found)

    def ancestors(self, site: str | None) -> tuple[str, ...]:
        """The ids of the site and all it is part of, nearest first; a record writes ids with spaces."""
        if site not in self._chains:
            self._chains[site] = self._chain(site)
        return self._chains[site]

    def _chain(self, site: str | None) -> tuple[str, ...]:
        chain: dict[str, None] = {}
        for name in self.named(site):
            here: str | None = name
            while here is not None and here not in chain:
                chain[here] = None
                known = self.lexicon.sites.get(here)
                here = known.part_of if known else None
        return tuple(chain)

    def named(self, site: str | None) -> tuple[str, ...]:
        """The ids of the sites named together in an entry."""
        return tuple(name.replace(" ", "_") for name in site.split(AND)) if site else ()

    def age_years(self, default: float | None = None) -> float | None:
        """The age that was said, in years, else ``default``."""
        for found in reversed(self.by_concept.get("age", [])):
            value = found.entry.value
            if value and value.number is not None:
                said = years(value.number, value.unit)
                if said is not None:
                    return said
        return default

    def find(self, matches: Sequence[Match], statuses: Sequence[str] = STATED) -> tuple[Found, ...]:
        """Every standing entry that fits any matcher, as said; ``statuses`` where a matcher names none."""
        hits: dict[tuple[int, int], Found] = {}
        for match in matches:
            for found in self._candidates(match):
                if found.place not in hits and self.fits(found, match, statuses):
                    hits[found.place] = found
        return tuple(hits[place] for place in sorted(hits))

    def first(self, matches: Sequence[Match], statuses: Sequence[str] = STATED) -> Found | None:
        firsts = (
            next((found for found in self._candidates(match) if self.fits(found, match, statuses)), None)
            for match in matches
        )
        return min((found for found in firsts if found is not None), key=_PLACE, default=None)

    def _candidates(self, match: Match) -> Iterable[Found]:
        """Entries that may fit, as said: the first that fits is the first said."""
        index, keys = self.by_region, match.regions
        if match.concepts:
            index, keys = self.by_concept, match.concepts
        elif match.sites:
            index, keys = self.by_site, match.sites
        lists = [index[key] for key in keys if key in index]
        return lists[0] if len(lists) == 1 else merge(*lists, key=_PLACE)

    def fits(self, found: Found, match: Match, statuses: Sequence[str] = STATED) -> bool:
        """Whether the entry fits every key of the matcher."""
        entry = found.entry
        if entry.status not in (match.statuses or statuses):
            return False
        if match.regions and found.region not in match.regions:
            return False
        if match.side and entry.side != match.side:
            return False
        if match.half and match.half != self._half(found):
            return False
        if match.valued is not None and match.valued != (entry.value is not None):
            return False
        return self._place_fits(entry, match) and self._words_fit(found, match) and self._number_fits(found, match)

    def _half(self, found: Found) -> str:
        """The half of the run, by number of entries, in which an entry was said."""
        return "first" if found.place < self.found[len(self.found) // 2].place else "second"

    def _place_fits(self, entry: Entry, match: Match) -> bool:
        if not (match.sites or match.not_sites):
            return True
        chain = self.ancestors(entry.site)
        if match.not_sites and any(site in chain for site in match.not_sites):
            return False
        return not match.sites or any(site in chain for site in match.sites)

    def _words_fit(self, found: Found, match: Match) -> bool:
        if match.qualifiers and not any(q in said for q in match.qualifiers for said in found.entry.qualifiers):
            return False
        if match.words and not self.said_near(found, match.words):
            return False
        if match.not_after and self._just_before(found) & set(match.not_after):
            return False
        return not (match.without_words and self.said_with(found, match.without_words))

    def _just_before(self, found: Found) -> set[str]:
        first = found.entry.evidence.words[0]
        return {word.text.lower() for word in self.words[max(0, first - 2) : first]}

    def _number_fits(self, found: Found, match: Match) -> bool:
        if not match.numeric:
            return True
        number = self.number(found, match.part, match.unit)
        return number is not None and match.holds(number)

    def number(self, found: Found, part: str | None = None, unit: str | None = None) -> float | None:
        """The number of an entry in ``unit``, or a part of its pair; None when it has none."""
        entry = found.entry
        measure = self.measures.get(entry.id)
        if part is not None:
            if measure is not None:
                return measure.systolic if part == "systolic" else measure.diastolic
            return _part_of(entry, part)
        if entry.value is None:
            return None
        number = entry.value.number if entry.value.number is not None else _first_number(entry.value.text)
        return None if number is None else convert(number, entry.value.unit, unit)

    def said_near(self, found: Found, phrases: Iterable[str]) -> bool:
        """Whether any phrase stands among the words of the entry and the few around them."""
        text = " " + " ".join(self.nearby(found)) + " "
        return any(f" {phrase} " in text for phrase in phrases)

    def said_with(self, found: Found, phrases: Iterable[str]) -> bool:
        """Whether any phrase stands among the words of the entry and those around it that no other entry took."""
        text = " " + " ".join(self.own_words(found)) + " "
        return any(f" {phrase} " in text for phrase in phrases)

    @cached_property
    def claimed(self) -> Mapping[int, str]:
        """Word -> the id of the last standing entry that it is evidence of."""
        return {
            n: found.entry.id
            for found in self.found
            for n in range(found.entry.evidence.words[0], found.entry.evidence.words[1] + 1)
        }

    def own_words(self, found: Found) -> tuple[str, ...]:
        """Words of the entry with the unclaimed ones just before and after, in lower case."""
        words = self.words
        first, last = found.entry.evidence.words
        start, end = first, last
        while start > max(0, first - _BEFORE) and start - 1 not in self.claimed:
            start -= 1
        while end < min(len(words) - 1, last + _BEFORE) and end + 1 not in self.claimed:
            end += 1
        text = " ".join(word.text for word in words[start : end + 1]) or found.entry.evidence.text
        return tuple(_WORD.findall(" ".join((text, *found.entry.qualifiers)).lower().replace("-", " ")))

    def nearby(self, found: Found) -> tuple[str, ...]:
        """Words of the entry with those just before and after, in lower case."""
        entry = found.entry
        if entry.id not in self._nearby:
            words = self.words
            first, last = entry.evidence.words
            around = words[max(0, first - _BEFORE) : last + 1 + _AFTER]
            text = " ".join(word.text for word in around) if around else entry.evidence.text
            self._nearby[entry.id] = tuple(_WORD.findall(" ".join((text, *entry.qualifiers)).lower().replace("-", " ")))
        return self._nearby[entry.id]


def _superseded(record: Record | None) -> frozenset[str]:
    amendments = record.amendments if record else ()
    return frozenset(a.supersedes for a in amendments if a.entry is not None or a.kind != "confirmation")


def _without_echoes(entries: list[tuple[str, Entry]]) -> list[tuple[str, Entry]]:
    """Drop findings whose words only qualify a value of another station ("... tympanic", of a temperature)."""
    said = {
        (entry.evidence.utterance, qualifier.lower()): region
        for region, entry in entries if entry.kind == "measure"
        for qualifier in entry.qualifiers
    }
    return [
        (region, entry) for region, entry in entries
        if entry.kind != "finding"
        or said.get((entry.evidence.utterance, entry.evidence.text.lower()), region) == region
    ]


def _first_number(text: str) -> float | None:
    match = _NUMBER.search(text)
    if match is None:
        return None
    number = float(match.group(2))
    nudge = {"<": -1e-3, ">": 1e-3}.get(match.group(1) or "", 0.0)
    return number + nudge


def _part_of(entry: Entry, part: str) -> float | None:
    pieces = entry.value.text.split("/") if entry.value else []
    piece = pieces[0 if part == "systolic" else 1] if len(pieces) == 2 else ""
    return _first_number(piece)
