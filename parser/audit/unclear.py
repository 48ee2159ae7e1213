"""Unclear speech: what was said where an item was due, was not understood, and may have been that item.

Nothing is made of it but a question. Looked at is every breath with words that were heard weakly, or that came to no
entry and make no sense, between the stations around it. It may be an item when it holds a word of the item's own, or
when unclear words sound like one of the ways of saying it; the likest pairs come first, and what may be one item is not
taken for another as well, unless it is long. Text is never unclear: what is not in it was not said.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

from lexicon import Lexicon
from lexicon.schema.audit import Item
from lexicon.schema.speech import PhrasesFile
from parser.audit.checklists import checklist_file
from parser.audit.doubt import is_weak
from parser.audit.inspection import Inspection, clock
from parser.components.mishearing_sounds import repairer
from parser.record import RecordEvidence, RecordWord
from parser.soundalike import Ear, Piece, ear_of, spoken
from parser.terms import term_index

#: Sounds this unlike may still be the same words heard badly, when the words are common, and when they are not.
#: Nothing is read from it, it is only asked about.
_COMMON, _RARE = 0.38, 0.30
_LONGEST, _SHORTEST_SOUND, _SHORTEST_WORD, _SHORTEST_HEARD = 3, 11, 4, 3
#: Below this confidence a word that came to no entry is unclear; seconds of silence between breaths.
_UNUSED, _SILENCE = 0.9, 0.5
#: A word in the ways of saying more items than this is no item's own.
_SHARED = 3
#: Content words of an item's own sentence that may be no chance.
_ENOUGH_SHARED = 2
#: A breath of so many words can hold two items.
_FOR_TWO = 5
#: A breath that names the place and no more is the least likely to be the item.
_PLACE_ONLY = 0.9
#: Stations beside those between which something was said.
_BESIDE = 1
_TALK = ("chat", "direction", "conduct")


@dataclass(frozen=True, slots=True)
class Stretch:
    """A breath with unclear words, and the stations in which it may have been said.

    ``unclear`` are the indices of the words that may be others; ``places`` the stations whose parts it names, when
    nothing else of it was understood.
    """

    words: Piece
    unclear: frozenset[int]
    places: frozenset[str]
    evidence: RecordEvidence
    stations: frozenset[str]

    @property
    def quoted(self) -> str:
        at = self.evidence.start
        return f"“{self.evidence.text}”" + (f" at {clock(at)}" if at is not None else "")


class Unclear:
    """The unclear stretches of a run, and which items they may have been."""

    def __init__(self, inspection: Inspection) -> None:
        self._inspection = inspection
        self._ear: Ear = ear_of(inspection.lexicon)
        self._own = _own_words(inspection.lexicon)
        self._known = repairer(inspection.lexicon).known

    @cached_property
    def stretches(self) -> tuple[Stretch, ...]:
        """Every stretch of the run, in order; none in text."""
        heard = any(word.confidence is not None for word in self._inspection.record.words)
        return tuple(self._stretches()) if heard else ()

    def perhaps(self, items: Sequence[Item]) -> dict[str, Stretch]:
        """Items of one station that were perhaps said: id -> the stretch that may have been it."""
        pairs = sorted(
            (unlike, item.id, n)
            for item in items
            for n, stretch in enumerate(self.stretches)
            if item.region in stretch.stations and (unlike := self._unlike(stretch, item)) < 1
        )
        found: dict[str, Stretch] = {}
        taken = Counter[int]()
        for _, name, n in pairs:
            if name not in found and taken[n] < 1 + (len(self.stretches[n].words) >= _FOR_TWO):
                found[name] = self.stretches[n]
                taken[n] += 1
        return found

    def _stretches(self) -> Iterator[Stretch]:
        words, claimed = self._inspection.record.words, self._inspection.lookup.claimed
        asides = {
            at for u in self._inspection.record.unfiled if (u.reason or "").startswith(_TALK)
            for at in range(u.evidence.words[0], u.evidence.words[1] + 1)
        }
        for first, last in _breaths(words):
            breath = range(first, last + 1)
            lost = not any(at in claimed for at in breath)
            unclear = frozenset(
                at - first for at in breath
                if at not in asides and (lost or self._unclear(words[at], at in claimed))
            )
            if unclear:
                texts = tuple(words[at].text.lower() for at in breath)
                evidence = self._evidence(first, last)
                places = self._places(texts) if lost else frozenset[str]()
                yield Stretch(texts, unclear, places, evidence, self._stations(evidence))

    def _places(self, texts: Piece) -> frozenset[str]:
        """The stations of the parts of the body that are named."""
        lexicon = self._inspection.lexicon
        terms = (term for _, _, terms in term_index(lexicon).find(texts) for term in terms if term.kind == "site")
        return frozenset(lexicon.home[term.id] for term in terms)

    def _unclear(self, word: RecordWord, claimed: bool) -> bool:
        if claimed or len(word.text) < _SHORTEST_HEARD:
            return is_weak(word)
        sure = 1.0 if word.confidence is None else word.confidence
        return sure < _UNUSED or word.text.lower() not in self._known

    def _evidence(self, first: int, last: int) -> RecordEvidence:
        said = self._inspection.record.words[first : last + 1]
        near = min(self._inspection.lookup.found, key=lambda f: abs(f.place[0] - first), default=None)
        return RecordEvidence(
            utterance=near.entry.evidence.utterance if near else 1, words=(first, last), start=said[0].start,
            end=said[-1].end, chars=(said[0].chars[0], said[-1].chars[1]), text=" ".join(word.text for word in said),
        )

    def _stations(self, evidence: RecordEvidence) -> frozenset[str]:
        """The stations of what was said before and after, those between them, and those beside."""
        order = self._inspection.wanted.stations
        found = self._inspection.lookup.found
        before = next((f for f in reversed(found) if f.place[0] < evidence.words[0] and f.region in order), None)
        after = next((f for f in found if f.place[0] > evidence.words[1] and f.region in order), None)
        first = order.index(before.region) if before else 0
        last = order.index(after.region) if after else len(order) - 1
        if last < first:
            return frozenset(s for at in (first, last) for s in order[max(0, at - _BESIDE) : at + 1 + _BESIDE])
        return frozenset(order[max(0, first - _BESIDE) : last + 1 + _BESIDE])

    def _unlike(self, stretch: Stretch, item: Item) -> float:
        """How unlike a stretch is to an item, by the likest part with an unclear word; 1 for not at all."""
        stems = {_stem(word) for word in stretch.words if len(word) >= _SHORTEST_WORD}
        if self._own[item.id] & stems or len(stems & {_stem(word) for word in spoken(item.say)}) >= _ENOUGH_SHARED:
            return 0.0
        windows = [
            stretch.words[at : at + size]
            for size in range(1, _LONGEST + 1)
            for at in range(len(stretch.words) - size + 1)
            if not stretch.unclear.isdisjoint(range(at, at + size))
        ]
        unlike = min(
            (
                self._ear.unlike(window, piece, limit)
                for piece, limit in _pieces(self._inspection.lexicon, item.id)
                if self._ear.size(piece) >= _SHORTEST_SOUND
                for window in windows
            ),
            default=1.0,
        )
        return _PLACE_ONLY if unlike == 1 and item.region in stretch.places else unlike


def _breaths(words: Sequence[RecordWord]) -> Iterator[tuple[int, int]]:
    """First and last word of every stretch of words without a longer silence in it."""
    first = 0
    for at in range(1, len(words) + 1):
        before, here = words[at - 1], words[at] if at < len(words) else None
        if here is None or (here.start or 0.0) - (before.end or 0.0) >= _SILENCE:
            yield first, at - 1
            first = at


def _ways(lexicon: Lexicon, item: Item) -> Iterator[str]:
    """Ways of saying an item: its own words, and the spoken forms of what fulfils it."""
    yield from (item.say, item.label)
    for match in item.any:
        for name in match.concepts:
            if concept := lexicon.concepts.get(name):
                yield from (*concept.forms, *concept.absent_forms)
        for name in match.sites:
            if site := lexicon.sites.get(name):
                yield from site.forms


@lru_cache(maxsize=4)
def _own_words(lexicon: Lexicon) -> dict[str, frozenset[str]]:
    """Item -> the words that are said of it and of few others."""
    words = {
        item.id: {_stem(word) for way in _ways(lexicon, item) for word in spoken(way) if len(word) >= _SHORTEST_WORD}
        for item in checklist_file(lexicon).items
    }
    shared = Counter(word for own in words.values() for word in own)
    return {name: frozenset(word for word in own if shared[word] <= _SHARED) for name, own in words.items()}


@lru_cache(maxsize=256)
def _pieces(lexicon: Lexicon, name: str) -> Sequence[tuple[Piece, float]]:
    """Spoken forms of an item that are short enough to be looked for by sound, and how unlike they may be."""
    item = next(item for item in checklist_file(lexicon).items if item.id == name)
    phrases = lexicon.files.get("phrases")
    common = frozenset(phrases.common if isinstance(phrases, PhrasesFile) else ())
    own = spoken(item.say)
    parts = (own[at : at + size] for size in (2, _LONGEST) for at in range(len(own) - size + 1))
    forms = dict.fromkeys((*(form for way in _ways(lexicon, item) if len(form := spoken(way)) <= _LONGEST), *parts))
    return tuple((form, _COMMON if common.issuperset(form) else _RARE) for form in forms if all(map(str.isalpha, form)))


def _stem(word: str) -> str:
    return word.removesuffix("s").removesuffix("e").removesuffix("d")
