"""The narrative: station by station, a heading and a paragraph of full sentences.

Every sentence is read back by the pipeline before it is kept: of the ways of saying a thing, the first
is taken whose meaning is the entries it stands for and nothing else. A sentence that no wording brings
back is written as plainly as can be and marked in ``Sentence.faithful``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from lexicon import Lexicon
from parser.note.facts import Fact, fact_of_entry, facts_of, standing
from parser.note.grammar import sentence
from parser.note.phrasing import Phrasing
from parser.note.reading import Reader
from parser.record import Entry, Record

#: Ways of saying one thing that are tried before the plainest is taken.
MOST_WAYS = 48

Place = tuple[str | None, str | None]


@dataclass(frozen=True, slots=True)
class Sentence:
    """A sentence, the entries it says, what should be confirmed, and whether it reads back as they stand."""

    text: str
    entries: tuple[str, ...]
    confirm: tuple[str, ...] = ()
    faithful: bool = True


@dataclass(frozen=True, slots=True)
class Paragraph:
    """One station of the note."""

    region: str
    title: str
    sentences: tuple[Sentence, ...]

    @property
    def text(self) -> str:
        return " ".join(each.text for each in self.sentences)


def narrative(record: Record, lexicon: Lexicon) -> tuple[Paragraph, ...]:
    """The note of what stands in a record, stations in order; stations of which nothing was said are left out."""
    return compose(standing(record), lexicon)


def compose(entries: Sequence[tuple[str, Entry]], lexicon: Lexicon) -> tuple[Paragraph, ...]:
    """Paragraphs that say just these entries, each under its station."""
    writer = Writer(lexicon, entries)
    order = {region: place for place, region in enumerate(lexicon.region_order)}
    by_region: dict[str, list[Entry]] = {}
    for region, entry in entries:
        by_region.setdefault(region, []).append(entry)
    return tuple(
        Paragraph(region, lexicon.regions[region].title if region in lexicon.regions else region,
                  tuple(writer.station(region, by_region[region])))
        for region in sorted(by_region, key=lambda name: order.get(name, len(order))))


@dataclass(frozen=True, slots=True)
class Unit:
    """Entries that are said together, and how they could be."""

    entries: tuple[Entry, ...]
    kind: str


class Writer:
    """Writes the stations of one record in order, reading along."""

    def __init__(self, lexicon: Lexicon, entries: Sequence[tuple[str, Entry]]) -> None:
        self.phrasing = Phrasing(lexicon)
        self.reader = Reader(lexicon.packs)
        self.facts = facts_of(entries)
        self.said: set[Fact] = set()

    def station(self, region: str, entries: Sequence[Entry]) -> Iterator[Sentence]:
        """The sentences of one station."""
        self.reader.enter(region)
        self.place: Place = (None, None)
        once: dict[Fact, Entry] = {}
        for entry in entries:
            once.setdefault(fact_of_entry(region, entry), entry)
        for unit in units(tuple(once.values()), self._kind):
            yield from self._say(unit, region)

    def _kind(self, entry: Entry) -> str:
        """How an entry can be joined with others; empty when it stands alone."""
        if entry.kind == "measure" and entry.value and not entry.confirm:
            return "measured"
        if entry.confirm or entry.value or entry.qualifiers or entry.concept in self.phrasing.grammar.wordings:
            return ""
        shape, _, _ = self.phrasing.grammar.shape(entry.label)
        if entry.kind == "report" and shape == "noun":
            return {"present": "reports", "absent": "denies"}.get(entry.status, "")
        if entry.status == "history":
            return "past" if shape == "noun" else ""
        if entry.status == "family":
            return "family" if shape == "noun" else ""
        if entry.kind not in ("finding", "device"):
            return ""
        if entry.status == "present":
            return {"adjective": "qualities", "noun": "presents"}.get(shape, "")
        return "negatives" if entry.status == "absent" and shape == "noun" else ""

    def _say(self, unit: Unit, region: str) -> Iterator[Sentence]:
        left = tuple(e for e in unit.entries if fact_of_entry(region, e) not in self.said)
        if not left:
            return
        if len(left) > 1:
            together, apart = self._together(Unit(left, unit.kind), region)
            if together:
                yield together
            left = apart
        for entry in left:
            if fact_of_entry(region, entry) not in self.said:
                yield self._alone(entry, region)

    def _together(self, unit: Unit, region: str) -> tuple[Sentence | None, tuple[Entry, ...]]:
        """The unit in one sentence, with the entries it could not hold; the first try tells which they are."""
        entries = unit.entries
        for _ in range(2):
            lost: set[Fact] = set()
            for way in self._ways(Unit(entries, unit.kind), region):
                wanted = {fact_of_entry(region, e) for e in entries}
                made, missing = self._try(way, wanted, entries)
                if made:
                    return made, tuple(e for e in unit.entries if e not in entries)
                lost = missing if not lost else min(lost, missing, key=len)
            entries = tuple(e for e in entries if fact_of_entry(region, e) not in lost)
            if len(entries) < 2 or not lost:
                break
        return None, unit.entries

    def _ways(self, unit: Unit, region: str) -> Iterable[str]:
        here = _place(unit.entries[0]) == self.place
        if unit.kind == "measured":
            return self.phrasing.measured(unit.entries)
        if unit.kind in ("qualities", "negatives", "presents"):
            ways: Callable[..., Iterable[str]] = getattr(self.phrasing, unit.kind)
            return ways(unit.entries, region, here=here)
        return self.phrasing.listed(unit.entries, unit.kind)

    def _alone(self, entry: Entry, region: str) -> Sentence:
        wanted = {fact_of_entry(region, entry)}
        here, first = _place(entry) == self.place, ""
        for count, way in enumerate(dict.fromkeys(self.phrasing.alone(entry, region, here=here))):
            if count >= MOST_WAYS:
                break
            first = first or way
            made, _ = self._try(way, wanted, (entry,))
            if made:
                return made
        return self._plain(first, entry, region)

    def _plain(self, way: str, entry: Entry, region: str) -> Sentence:
        """What no wording brings back whole: the first way of saying it."""
        text = sentence(way)
        self.said |= set(self.reader.take(text)) & set(self.facts)
        self.said.add(fact_of_entry(region, entry))
        return Sentence(text, (entry.id,), _reasons((entry,)), faithful=False)

    def _try(self, way: str, wanted: set[Fact], entries: Sequence[Entry]) -> tuple[Sentence | None, set[Fact]]:
        """The way as a sentence when it means what is wanted and nothing that was not said; else what it lost."""
        text = sentence(" ".join(way.split()))
        found, after = self.reader.read(text)
        read = set(found)
        missing = wanted - read
        if missing or not read <= self.facts.keys():
            return None, missing or wanted
        self.reader.situation = after
        self.place = _place(entries[-1])
        self.said |= read
        ids = [e.id for fact in found for e in self.facts[fact]]
        return Sentence(text, tuple(dict.fromkeys(ids)), _reasons(entries)), set()


def _reasons(entries: Iterable[Entry]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(e.confirm for e in entries if e.confirm))


def _place(entry: Entry) -> Place:
    return entry.site, entry.side


def units(entries: Sequence[Entry], kind_of: Callable[[Entry], str]) -> Iterator[Unit]:
    """Entries by place, in the order the places were first spoken of.

    What has no place stays where it was said, so that "soft and brown" follows what it is about.
    """
    runs: list[list[Entry]] = []
    places: dict[Place, list[Entry]] = {}
    last: Place | None = None
    for entry in entries:
        place = _place(entry)
        if place not in places or (entry.site is None and place != last):
            places[place] = []
            runs.append(places[place])
        places[place].append(entry)
        last = place
    for run in runs:
        yield from _joined_units(run, kind_of)


def _joined_units(group: Sequence[Entry], kind_of: Callable[[Entry], str]) -> Iterator[Unit]:
    """Within one place: what is joined stands where its first was said; what is absent comes last."""
    kinds = [(entry, kind_of(entry)) for entry in group]
    done: set[str] = set()
    for entry, kind in kinds:
        if not kind and entry.status != "absent":
            yield Unit((entry,), "")
        elif kind not in ("", "negatives") and kind not in done:
            done.add(kind)
            yield Unit(tuple(e for e, k in kinds if k == kind), kind)
    negatives = tuple(e for e, k in kinds if k == "negatives")
    if negatives:
        yield Unit(negatives, "negatives")
    for entry, kind in kinds:
        if not kind and entry.status == "absent":
            yield Unit((entry,), "")
