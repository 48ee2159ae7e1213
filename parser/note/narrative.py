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
    """A sentence, the entries it says, what should be confirmed, and whether it reads back as they stand.

    ``heading`` marks the passage to another station inside a paragraph (its text is empty), ``told`` a
    sentence of the audit, which states no finding itself.
    """

    text: str
    entries: tuple[str, ...]
    confirm: tuple[str, ...] = ()
    faithful: bool = True
    heading: str | None = None
    told: bool = False

    def shown(self, mark: str) -> str:
        """The sentence with its marks for confirmation; ``mark`` is the template."""
        marks = [mark.format_map({"reason": reason}) for reason in self.confirm]
        return " ".join((self.text, *marks)) if marks else self.text


@dataclass(frozen=True, slots=True)
class Paragraph:
    """One station of the note."""

    region: str
    title: str
    sentences: tuple[Sentence, ...]

    @property
    def text(self) -> str:
        return " ".join(each.text for each in self.sentences if each.text)


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
                  writer.station(region, by_region[region]))
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
        self.facts = facts_of(entry for _, entry in entries)
        self.said: set[Fact] = set()
        self.here: dict[Fact, tuple[Entry, ...]] = {}
        self.place: Place = (None, None)

    def station(self, region: str, entries: Sequence[Entry]) -> tuple[Sentence, ...]:
        """The sentences of one station.

        What has no place or no side of its own would be read as of the one before it: when that happens
        it is said first.
        """
        once: dict[Fact, Entry] = {}
        for entry in entries:
            once.setdefault(fact_of_entry(entry), entry)
        self.here = facts_of(entries)
        planned = tuple(units(tuple(once.values()), self._kind))
        written = self._write(planned, region)
        unread = {e for each in written if not each.faithful for e in each.entries}
        early = [u for u in planned if None in _place(u.entries[0]) and any(e.id in unread for e in u.entries)]
        if not early:
            return written
        again = self._write((*early, *(u for u in planned if u not in early)), region)
        return min(written, again, key=lambda sentences: sum(not each.faithful for each in sentences))

    def _write(self, planned: Iterable[Unit], region: str) -> tuple[Sentence, ...]:
        self.reader.enter(region)
        self.place = (None, None)
        self.said = set()
        return tuple(each for unit in planned for each in self._say(unit, region))

    def _kind(self, entry: Entry) -> str:
        """How an entry can be joined with others; empty when it stands alone."""
        if entry.kind == "measure" and entry.value and not entry.confirm:
            return "measured"
        if entry.confirm or entry.value or entry.qualifiers or entry.concept in self.phrasing.grammar.wordings:
            return ""
        shape, _, _ = self.phrasing.grammar.shape(entry.label)
        if entry.kind == "report" and shape == "noun":
            present = "" if self.phrasing.neutral(entry) else "reports"
            return {"present": present, "absent": "denies"}.get(entry.status, "")
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
        left = tuple(e for e in unit.entries if fact_of_entry(e) not in self.said)
        if not left:
            return
        if len(left) == 1 and unit.kind == "described":
            unit = Unit(left, "")
        if len(left) > 1:
            together, apart = self._together(Unit(left, unit.kind), region)
            if together:
                yield together
            left = apart
            if together is None and unit.kind == "described":
                for kind in ("qualities", "negatives"):
                    yield from self._say(Unit(tuple(e for e in left if self._kind(e) == kind), kind), region)
                return
        for entry in left:
            if fact_of_entry(entry) not in self.said:
                yield self._alone(entry, region)

    def _together(self, unit: Unit, region: str) -> tuple[Sentence | None, tuple[Entry, ...]]:
        """The unit in one sentence, with the entries it could not hold; the first try tells which they are."""
        entries = unit.entries
        for _ in range(2):
            lost: set[Fact] = set()
            for way in self._ways(Unit(entries, unit.kind), region):
                wanted = {fact_of_entry(e) for e in entries}
                made, missing = self._try(way, wanted, entries)
                if made:
                    return made, tuple(e for e in unit.entries if e not in entries)
                lost = missing if not lost else min(lost, missing, key=len)
            entries = tuple(e for e in entries if fact_of_entry(e) not in lost)
            if len(entries) < 2 or not lost:
                break
        return None, unit.entries

    def _ways(self, unit: Unit, region: str) -> Iterable[str]:
        here = _place(unit.entries[0]) == self.place
        if unit.kind == "measured":
            return self.phrasing.measured(unit.entries)
        if unit.kind == "attached":
            return self.phrasing.attached(unit.entries)
        if unit.kind == "described":
            return self.phrasing.described(unit.entries)
        if unit.kind in ("qualities", "negatives", "presents"):
            ways: Callable[..., Iterable[str]] = getattr(self.phrasing, unit.kind)
            return ways(unit.entries, region, here=here)
        return self.phrasing.listed(unit.entries, unit.kind)

    def _alone(self, entry: Entry, region: str) -> Sentence:
        wanted = {fact_of_entry(entry)}
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
        self.said.add(fact_of_entry(entry))
        return Sentence(text, (entry.id,), _reasons((entry,)), faithful=False)

    def _try(self, way: str, wanted: set[Fact], entries: Sequence[Entry]) -> tuple[Sentence | None, set[Fact]]:
        """The way as a sentence when it means what is wanted and nothing that was not said; else what it lost."""
        text = sentence(" ".join(way.split()))
        if self.phrasing.grammar.avoided.search(text):
            return None, wanted
        found, after = self.reader.read(text)
        read = set(found)
        missing = wanted - read
        if missing or not read <= self.facts.keys():
            return None, missing or wanted
        self.reader.situation = after
        self.place = _place(entries[-1])
        self.said |= read
        ids = [e.id for fact in found for e in self.here.get(fact) or self.facts[fact]]
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
    by_kind = {kind: tuple(e for e, k in kinds if k == kind) for _, kind in kinds if kind}
    whole = _described(by_kind)
    done: set[str] = {"qualities", "negatives"} if whole else {"negatives"}
    if whole:
        yield Unit(whole, "described")
    for at, (entry, kind) in enumerate(kinds):
        if not kind and entry.status != "absent":
            yield Unit((entry, *_attached(kinds[at + 1 :], entry, done)), "attached")
        elif kind and kind not in done:
            done.add(kind)
            yield Unit(by_kind[kind], kind)
    if "negatives" in by_kind and not whole:
        yield Unit(by_kind["negatives"], "negatives")
    for entry, kind in kinds:
        if not kind and entry.status == "absent":
            yield Unit((entry,), "")


def _described(by_kind: dict[str, tuple[Entry, ...]]) -> tuple[Entry, ...]:
    """Qualities and absences of one place, when they are few enough for one sentence."""
    good, bad = by_kind.get("qualities", ()), by_kind.get("negatives", ())
    return (*good, *bad) if good and bad and good[0].site and len(good) <= 2 and len(bad) <= 3 else ()


def _attached(rest: Sequence[tuple[Entry, str]], entry: Entry, done: set[str]) -> tuple[Entry, ...]:
    """Qualities said in one breath after something without a place: "reflexes 2+, symmetrical"."""
    if entry.site or "qualities" in done:
        return ()
    found = []
    for other, kind in rest:
        if kind != "qualities" or other.site or other.evidence.utterance != entry.evidence.utterance:
            break
        found.append(other)
    return tuple(found)
