"""Mishearing by sound: words that make no sense where they stand, read as the piece of the lexicon they sound like.

Looked for are words that stand in no spoken form, cue, number or phrase of the lexicon (or were heard so weakly that
they may be anything), with up to two of their neighbours, since recognisers cut words in other places ("pair la").
Candidates are pieces of spoken forms of the stations that are due, near in sound. What they must show to be believed is
measured (tests/bench/mishearing.py): how near they sound, how long they are, whether they complete a spoken form with
the words beside them, whether they keep the company that the lexicon's sentences keep, and how surely the words were
heard. Numbers, sides and negatives are never touched, nor are words amid ordinary talk.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from pydantic import BaseModel

from lexicon import ANY, Lexicon
from lexicon.schema import CuesFile, LateralityFile
from lexicon.schema.measures import NumbersFile
from lexicon.schema.speech import PhrasesFile
from parser.layers import Term
from parser.soundalike import Alike, Ear, Piece, ear_of, spoken
from parser.terms import FormIndex, term_index

#: Pieces and stretches of more words are not looked at.
LONGEST = 3
#: No piece that sounds less alike is looked at: of words heard well, and of words heard weakly.
NEAR, FARTHEST = 0.20, 0.30
#: A known word heard with less confidence may be anything.
WEAK = 0.6
_CLEAR = 0.8
#: Stations after the current one that may have begun.
_AHEAD = 2
#: Words on either side that tell what company a piece keeps; talk within them forbids a reading.
_REACH = 4
_ENDINGS = ("", "s", "es", "d", "ed", "ly")
_SHORTEST_STEM = 4
#: Phonemes that may differ, fitted to the runs of tests/bench/mishearing.py (half of the voices): of any piece, more
#: of one made of common words, more of one that belongs to the current station, less of words that were heard clearly.
_BASE, _COMMON, _HERE, _SURE = 0.1, 2.0, 0.9, 0.6
_CLEARLY = 0.9
_FEATURES_A_SOUND, _PER_LENGTH = 3, 0.86
#: Two readings of one stretch that are believed to within so much of each other leave it as it was heard.
_CLOSE = 0.1
#: Stands for any number.
NUMBER = "#"
_UNSPOKEN = frozenset(
    "heard source note why message title meaning id label sounds text below above formula status role kind unit".split()
)
_ELSEWHERE = ("mishearings", "speech", "sources", "note", "spelling", "scores")


@dataclass(frozen=True, slots=True)
class Candidate:
    """Words ``[start, end)`` that may be ``piece``.

    ``unlike`` is 0 (sounds the same) to 1; ``size`` the features of the piece; ``joined``: it completes a form with
    words beside it; ``company``: on how many sides it keeps known company; ``here``: it belongs to the current
    station; ``common``: all its words are of nearly every examination; ``confidence`` of the words, None for text.
    """

    start: int
    end: int
    piece: Piece
    unlike: float
    size: int
    joined: bool
    company: int
    here: bool
    common: bool
    confidence: float | None

    @property
    def sure(self) -> bool:
        """Whether nothing in the sound speaks against the words as they are; so too for text, which has no sound."""
        return self.confidence is None or self.confidence >= _CLEARLY

    @property
    def credit(self) -> float:
        """Phonemes that may differ, less those that do: what it must have to be believed."""
        apart = self.unlike * (self.size / _FEATURES_A_SOUND + _PER_LENGTH)
        return _BASE + _COMMON * self.common + _HERE * self.here - _SURE * self.sure - apart


class Station:
    """What the lexicon's lines of one station say beside what: pieces by the word before and the word after."""

    def __init__(self, ear: Ear, lines: Iterable[Piece], small: frozenset[str], numbers: frozenset[str],
                 kept: frozenset[str]) -> None:
        self._ear = ear
        self._pieces: dict[tuple[str, str], dict[Piece, None]] = defaultdict(dict)
        self._alike: dict[tuple[str, str], Alike] = {}
        for line in lines:
            bare = [at for at, word in enumerate(line) if word not in small]
            said = [NUMBER if line[at] in numbers or line[at].isdigit() else line[at] for at in bare]
            for i, first in enumerate(bare):
                for j in range(i, min(i + 2, len(bare))):
                    piece = line[first : bare[j] + 1]
                    if len(piece) > LONGEST or not all(
                        word.isalpha() and len(word) > 1 and word not in kept for word in piece
                    ):
                        continue
                    if i:
                        self._pieces["before", said[i - 1]][piece] = None
                    if j + 1 < len(bare):
                        self._pieces["after", said[j + 1]][piece] = None

    def near(self, heard: Piece, side: str, word: str, limit: float) -> Mapping[Piece, float]:
        """Pieces that sound like ``heard`` and are said with ``word`` on that side, with how unlike they are."""
        key = (side, word)
        if key not in self._alike:
            if key not in self._pieces:
                return {}
            self._alike[key] = Alike(self._ear, self._pieces[key])
        return self._alike[key].near(heard, limit)


class Repairer:
    """What of a lexicon is needed to find mishearings by sound; built when first asked, station by station."""

    def __init__(self, lexicon: Lexicon) -> None:
        self._lexicon = lexicon
        self._index: FormIndex[Term] = term_index(lexicon)
        self._ear: Ear = ear_of(lexicon)
        self._lines = _lines_by_station(lexicon)
        self._stations: dict[str, Station] = {}
        self.small = _small(lexicon)
        self.numbers = _numbers(lexicon)
        self.kept = self.numbers | _kept(lexicon)
        self.talk = frozenset(getattr(lexicon.files.get("mishearings"), "talk", ()))
        self.known = _spoken_words(lexicon) | {word for lines in self._lines.values() for f in lines for word in f}
        phrases = lexicon.files.get("phrases")
        self._common = frozenset(phrases.common if isinstance(phrases, PhrasesFile) else ())

    def readings(
        self, words: Sequence[str], confidences: Sequence[float | None], station: str | None
    ) -> list[Candidate]:
        """The readings that are believed, in order, without overlap: of each stretch the one with most credit."""
        believed = [one for one in self.candidates(words, confidences, station) if one.credit >= 0]
        believed.sort(key=lambda one: (-one.credit, one.start, one.piece))
        chosen: list[Candidate] = []
        taken: set[int] = set()
        for one in believed:
            place = range(one.start, one.end)
            if taken.isdisjoint(place):
                taken.update(place)
                if not any(self._rivals(one, other) for other in believed):
                    chosen.append(one)
        return sorted(chosen, key=lambda one: one.start)

    def _rivals(self, one: Candidate, other: Candidate) -> bool:
        """Whether another word of about the same credit stands for the same sounds."""
        return (
            (one.start, one.end) == (other.start, other.end)
            and other.credit > one.credit - _CLOSE
            and not same_words(one.piece, other.piece)
            and not same_words(other.piece, one.piece)
        )

    def odd(self, words: Sequence[str], confidences: Sequence[float | None], inside: set[int]) -> list[int]:
        """Words that nothing in the lexicon uses, or that were heard weakly and stand in no spoken form."""
        return [
            at for at, word in enumerate(words)
            if word.isalpha() and word not in self.kept and word not in self.small
            and (word not in self.known or (at not in inside and (confidences[at] or 1.0) < WEAK))
        ]

    def candidates(
        self, words: Sequence[str], confidences: Sequence[float | None], station: str | None
    ) -> Iterator[Candidate]:
        """Every piece that a stretch around an odd word may be, whether it is to be believed or not."""
        mentions = self._index.find(words)
        inside = {at for start, end, _ in mentions for at in range(start, end)}
        odd = self.odd(words, confidences, inside)
        if not odd:
            return
        due = self._due(station, [item for _, _, items in mentions for item in items])
        for start, end in self._stretches(words, odd):
            known = [c for c in confidences[start:end] if c is not None]
            confidence = sum(known) / len(known) if known else None
            limit = FARTHEST if confidence is not None and confidence < _CLEAR else NEAR
            for piece, (unlike, home, company) in self._alike(words, start, end, due, limit).items():
                if same_words(words[start:end], piece) or opposite(words[start:end], piece):
                    continue
                joined = self._joined(words, start, end, piece, due)
                if joined is not None:
                    yield Candidate(start, end, piece, unlike, self._ear.size(piece), joined, company,
                                    home == station, self._common.issuperset(piece), confidence)

    def _stretches(self, words: Sequence[str], odd: Sequence[int]) -> list[tuple[int, int]]:
        """Stretches around odd words that are not in talk."""
        found: dict[tuple[int, int], None] = {}
        for at in odd:
            if self.talk.intersection(words[max(0, at - _REACH) : at + 1 + _REACH]):
                continue
            for start in range(max(0, at - LONGEST + 1), at + 1):
                for end in range(at + 1, min(len(words), start + LONGEST) + 1):
                    if all(word.isalpha() and word not in self.kept for word in words[start:end]):
                        found[start, end] = None
        return list(found)

    def _alike(
        self, words: Sequence[str], start: int, end: int, due: Sequence[str], limit: float
    ) -> dict[Piece, tuple[float, str, int]]:
        """Piece -> (how unlike it sounds, its station, on how many sides it keeps company)."""
        heard = tuple(words[start:end])
        before, after = self._beside(words, start, end)
        found: dict[Piece, tuple[float, str, int]] = {}
        for name in due:
            station = self._station(name)
            left = station.near(heard, "before", before, limit) if before else {}
            right = station.near(heard, "after", after, limit) if after else {}
            for piece, unlike in {**left, **right}.items():
                company = (piece in left) + (piece in right)
                if piece not in found or company > found[piece][2]:
                    found[piece] = (unlike, name, company)
        return found

    def _station(self, name: str) -> Station:
        if name not in self._stations:
            lines = self._lines.get(name, ())
            self._stations[name] = Station(self._ear, lines, self.small, self.numbers, self.kept)
        return self._stations[name]

    def _due(self, station: str | None, terms: Iterable[Term]) -> tuple[str, ...]:
        """The current station, those that may follow, those of what is said in the same breath, and shared words."""
        order = self._lexicon.region_order
        at = order.index(station) if station in order else -1
        near = dict.fromkeys(order[max(at, 0) : at + 1 + _AHEAD])
        near.update(dict.fromkeys(home for term in terms if (home := _home(term, self._lexicon)) in order))
        return (*near, ANY)

    def _beside(self, words: Sequence[str], start: int, end: int) -> tuple[str | None, str | None]:
        """The nearest word before and after that is no small word; numbers are all one."""
        before = next((w for w in reversed(words[max(0, start - _REACH) : start]) if w not in self.small), None)
        after = next((word for word in words[end : end + _REACH] if word not in self.small), None)
        as_number = {word: NUMBER for word in (before, after) if word and (word in self.numbers or word.isdigit())}
        return as_number.get(before or "", before), as_number.get(after or "", after)

    def _joined(
        self, words: Sequence[str], start: int, end: int, piece: Piece, due: Sequence[str]
    ) -> bool | None:
        """Whether a piece completes a form with words beside it; None when it says nothing there that is due."""
        first, last = max(0, start - _REACH), end + _REACH
        read = [*words[first:start], *piece, *words[end:last]]
        begin, stop = start - first, start - first + len(piece)
        touching = [(a, b, items) for a, b, items in self._index.find(read) if a < stop and b > begin]
        covered = {at for a, b, _ in touching for at in range(a, b)}
        if not covered.issuperset(range(begin, stop)):
            return None
        if not any(_home(term, self._lexicon) in due for _, _, items in touching for term in items):
            return None
        return any(a < begin or b > stop for a, b, _ in touching)


def same_words(heard: Sequence[str], piece: Piece) -> bool:
    """Whether the piece only leaves words out of what was heard, or puts one into another form."""
    rest = iter(heard)
    return all(word in rest for word in piece) or (len(heard) == len(piece) and all(map(_inflected, heard, piece)))


def _inflected(one: str, other: str) -> bool:
    shorter, longer = sorted((one, other), key=len)
    return longer.startswith(shorter) and longer[len(shorter) :] in _ENDINGS


def opposite(heard: Sequence[str], piece: Piece) -> bool:
    """Whether a word and its denial would be exchanged: "regular" for "irregular", "tender" for "nontender"."""
    pairs = ((one, other) for one in heard for other in piece if one != other)
    return any(
        min(len(one), len(other)) >= _SHORTEST_STEM and (one.endswith(other) or other.endswith(one))
        for one, other in pairs
    )


def _home(term: Term, lexicon: Lexicon) -> str:
    if term.kind in ("region", "heading"):
        return term.id
    if term.kind == "measure":
        return "vital_signs"
    return lexicon.home.get(term.id, ANY)


def _lines_by_station(lexicon: Lexicon) -> dict[str, list[Piece]]:
    """Spoken forms, examples and items to say, by station."""
    found: dict[str, list[Piece]] = defaultdict(list)
    for concept in lexicon.concepts.values():
        said = (*concept.forms, *concept.absent_forms, *(line.partition("=")[0] for line in concept.examples))
        found[lexicon.home[concept.id]] += map(spoken, said)
    for site in lexicon.sites.values():
        found[lexicon.home[site.id]] += map(spoken, site.forms)
    for region in lexicon.regions.values():
        found[region.id] += map(spoken, (*region.forms, *region.headings))
    for item in getattr(lexicon.files.get("checklist"), "items", ()):
        found[item.region].append(spoken(item.say))
    for name, home in (("measures", "vital_signs"), ("scales", ANY)):
        for entry in getattr(lexicon.files.get(name), name, ()):
            found[home] += map(spoken, entry.forms)
    return found


def _small(lexicon: Lexicon) -> frozenset[str]:
    """Small words of lists and clauses."""
    cues = lexicon.files.get("cues")
    if not isinstance(cues, CuesFile):
        return frozenset()
    return frozenset((*cues.fillers, *cues.joins, *cues.links, *cues.unfinished))


def _numbers(lexicon: Lexicon) -> frozenset[str]:
    numbers = lexicon.files.get("numbers")
    words = numbers.words if isinstance(numbers, NumbersFile) else ()
    return frozenset(form for word in words if word.role != "roman" for form in (*word.forms, *word.sounds))


def _kept(lexicon: Lexicon) -> frozenset[str]:
    """Words that are never read otherwise: sides, negatives and other cues, names of the tool."""
    sides, cues = lexicon.files.get("laterality"), lexicon.files.get("cues")
    forms: list[str] = list(getattr(lexicon.files.get("directions"), "names", ()))
    if isinstance(sides, LateralityFile):
        forms += [form for side in sides.sides if side.side != "none" for form in side.forms]
    if isinstance(cues, CuesFile):
        forms += [form for cue in cues.cues if cue.status not in ("none", "break") for form in cue.forms]
    return frozenset(form for form in forms if " " not in form)


def _spoken_words(lexicon: Lexicon) -> frozenset[str]:
    """Words of everything in the lexicon that is spoken: cues, numbers, phrases, examples, items to say."""
    texts: list[str] = [example.partition("=")[0] for c in lexicon.concepts.values() for example in c.examples]
    for name, file in lexicon.files.items():
        if name not in _ELSEWHERE:
            texts.extend(_texts(file))
    return frozenset(word for text in texts for word in spoken(text))


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, BaseModel):
        for field in type(value).model_fields:
            if field not in _UNSPOKEN:
                yield from _texts(getattr(value, field))
    elif isinstance(value, tuple):
        for item in value:
            yield from _texts(item)
    elif isinstance(value, str):
        yield value


@lru_cache(maxsize=4)
def repairer(lexicon: Lexicon) -> Repairer:
    return Repairer(lexicon)

