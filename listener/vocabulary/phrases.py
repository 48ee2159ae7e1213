"""Writes dictation from the lexicon: every shape of phrases.yaml, filled with all that the lexicon knows.

The text is the same for the same lexicon: every shape draws from a generator of random numbers that is
seeded with its own words. Common ways come often (the n-th way of a list about 1/n as often as the
first), and every spoken form comes at least once.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import accumulate, chain, pairwise

from lexicon import Lexicon
from lexicon.forms import expand
from lexicon.schema.speech import PhraseShape
from listener.vocabulary.fillings import ANYWHERE, Filling, Fillings
from listener.vocabulary.spoken import decimal, ordinal, whole
from listener.vocabulary.values import spoken_value

#: Phrases written from the shapes of phrases.yaml, besides one for each spoken form.
PHRASES = 240_000
_JOINS = ((1, 0.45), (2, 0.35), (3, 0.2))
_SLOT = re.compile(r"\{([^{}]*)\}")
_DEEPEST = 6
#: Kinds whose chief forms are carried by a number of phrases each, however many entries there are.
_CARRIED = ("abnormal", "normal", "neutral", "absent_word", "device", "step", "report", "site")
_CARRIERS = 5
#: How many phrases besides say that a finding is not there: "no" is what must not be lost before a new word.
_DENIALS = 3


@dataclass
class _Scene:
    """What a phrase has settled: its station, what was named last (for the value that follows), what must be named."""

    region: str
    named: Filling | None = None
    forced: dict[str, Filling] = field(default_factory=dict)


@dataclass
class _Deck:
    """Forms of one kind, dealt so that none is left out and the first are dealt most."""

    items: Sequence[Filling]
    weights: Sequence[float]
    pile: list[Filling] = field(default_factory=list)

    def deal(self, rng: random.Random) -> Filling:
        if rng.random() < 0.8:
            return rng.choices(self.items, cum_weights=self.weights)[0]
        if not self.pile:
            self.pile = list(self.items)
            rng.shuffle(self.pile)
        return self.pile.pop()


def dictation(lexicon: Lexicon, count: int = PHRASES, fillings: Fillings | None = None) -> Iterator[str]:
    """Lines of dictation, words as written in the lexicon; figures may still stand in them.

    About ``count`` phrases joined to utterances; then the chief forms of every entry, each in a few phrases; then
    each spoken form that holds a pair of words which has not come yet.
    """
    fillings = fillings or Fillings.of(lexicon)
    seen: set[tuple[str, str]] = set()
    shapes = getattr(lexicon.files.get("phrases"), "shapes", ())
    writer = _Writer(fillings, lexicon)
    for line in chain(writer.lines(shapes, count), writer.carried(shapes)) if shapes else ():
        seen.update(_pairs(line))
        yield line
    for filling in fillings.everything:
        pairs = _pairs(filling.text)
        if not seen.issuperset(pairs):
            seen.update(pairs)
            yield filling.text


def _pairs(line: str) -> list[tuple[str, str]]:
    words = line.split()
    return [*pairwise(words), *(("", word) for word in words)]


class _Writer:
    def __init__(self, fillings: Fillings, lexicon: Lexicon) -> None:
        self.fillings = fillings
        self.lists = {entry.id: entry.ways for entry in getattr(lexicon.files.get("phrases"), "lists", ())}
        self.regions = [region for region in lexicon.regions if fillings.has(region)] or [ANYWHERE]
        self.decks: dict[tuple[str, str], _Deck | None] = {}

    def lines(self, shapes: Sequence[PhraseShape], count: int) -> Iterator[str]:
        shares = list(accumulate(shape.share for shape in shapes))
        phrases = [[expand(template) for template in shape.say] for shape in shapes]
        rng = random.Random("|".join(template for shape in shapes for template in shape.say))
        for _ in range(int(count / sum(n * share for n, share in _JOINS))):
            scene = _Scene(rng.choice(self.regions))
            joined = rng.choices([n for n, _ in _JOINS], [share for _, share in _JOINS])[0]
            chosen = rng.choices(phrases, cum_weights=shares, k=joined)
            line = " ".join(self.phrase(rng.choice(rng.choice(ways)), scene, rng) for ways in chosen)
            if line.strip():
                yield line

    def carried(self, shapes: Sequence[PhraseShape]) -> Iterator[str]:
        """The chief forms of every entry, each in some of the phrases that have a place for it."""
        templates = [way for shape in shapes for template in shape.say for way in expand(template)]
        for kind in _CARRIED:
            places = [template for template in templates if f"{{{kind}}}" in template]
            denials = [template for template in places if f"{{no}} {{{kind}}}" in template]
            rng = random.Random("|".join(places))
            for region, filling in self.fillings.chief(kind) if places else ():
                chosen = rng.choices(places, k=_CARRIERS) + (rng.choices(denials, k=_DENIALS) if denials else [])
                for template in chosen:
                    yield self.phrase(template, _Scene(region, forced={kind: filling}), rng)

    def phrase(self, template: str, scene: _Scene, rng: random.Random, depth: int = 0) -> str:
        pieces = _SLOT.split(template)
        for i in range(1, len(pieces), 2):
            pieces[i] = self.fill(pieces[i], scene, rng, depth)
        return " ".join(" ".join(pieces).split())

    def fill(self, slot: str, scene: _Scene, rng: random.Random, depth: int) -> str:
        ways = self.lists.get(slot)
        if ways is not None:
            way = _early(ways, rng)
            return self.phrase(way, scene, rng, depth + 1) if "{" in way and depth < _DEEPEST else way
        kind, _, detail = slot.partition(":")
        if kind in _NUMBERS:
            low, high = (int(bound) for bound in detail.split("-"))
            return _NUMBERS[kind](rng.randint(low, high), rng)
        if kind == "value":
            return self.value(scene, rng)
        if kind in ("unit", "qualifier"):
            ways = scene.named and (scene.named.units if kind == "unit" else scene.named.qualifiers)
            return _early(ways, rng) if ways else ""
        if kind == "place":
            site = self.fill("site", scene, rng, depth)
            return f"{_early(self.lists.get('left', ('left', 'right')), rng)} {site}" if rng.random() < 0.7 else site
        if kind == "side":
            return _early(self.fillings.sides, rng)
        return self.deal(slot, scene, rng)

    def value(self, scene: _Scene, rng: random.Random) -> str:
        named = scene.named
        if named is None or not named.values:
            return whole(rng.randint(0, 200), rng)
        shapes, limits = rng.choice(named.values)
        return spoken_value(shapes, limits, rng)

    def deal(self, slot: str, scene: _Scene, rng: random.Random) -> str:
        if slot in scene.forced:
            scene.named = scene.forced.pop(slot)
            return scene.named.text
        deck = self.deck(slot, scene.region)
        if deck is None or (rng.random() < 0.25 and self.deck(slot, ANYWHERE)):
            deck = self.deck(slot, ANYWHERE) or deck
        if deck is None:
            return ""
        filling = deck.deal(rng)
        if filling.values or filling.units:
            scene.named = filling
        return filling.text

    def deck(self, slot: str, region: str) -> _Deck | None:
        key = (slot, region)
        if key not in self.decks:
            items = self.fillings.of_kind(slot, region)
            self.decks[key] = _Deck(items, list(accumulate(map(self.fillings.weight, items)))) if items else None
        return self.decks[key]


_NUMBERS: Mapping[str, Callable[[int, random.Random], str]] = {
    "number": whole, "decimal": decimal, "ordinal": lambda number, rng: ordinal(number),
}


def _early(ways: Sequence[str], rng: random.Random) -> str:
    return rng.choices(ways, cum_weights=_falling(len(ways)))[0]


@lru_cache(maxsize=256)
def _falling(count: int) -> tuple[float, ...]:
    return tuple(accumulate(1 / (i + 1.5) for i in range(count)))
