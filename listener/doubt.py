"""Doubt about single words: numbers, sides, negatives and units that may have been heard wrongly.

A wrong number must never be silent. The recogniser's confidence, taken from a wide lattice, and a second reading
where there is one decide; a word in doubt says why. The limits are measured: tests/bench/hearing.py tunes them on one
half of the development dictation and reports on the other.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

from lexicon import Lexicon
from parser.transcript import Word

Words = tuple[Word, ...]

#: Words a judgement about the room rests on: at least, and at most the last so many.
_ENOUGH, _REMEMBERED = 20, 60

_SIDES = ("left", "right", "both", "bilateral", "bilaterally")
_NEGATIVES = (
    "no", "not", "none", "never", "denies", "without", "absent", "negative", "nor", "neither", "unable", "non",
)


@dataclass(frozen=True)
class Limits:
    """Below its limit of confidence a word is in doubt, by its kind; ``twin``: numbers that sound much like another.
    ``noisy``: a room in which more than this share of the words lies below the limit of numbers is too loud to doubt
    word by word; below ``weak`` it still is done."""

    number: float = 0.9
    twin: float = 0.97
    side: float = 0.9
    negative: float = 0.9
    unit: float = 0.7
    noisy: float = 0.5
    weak: float = 0.5


STANDARD = Limits()


@dataclass(frozen=True)
class KeyWords:
    """The words on which a record hangs, each with its kind; those of ``twins`` sound much like another number."""

    kinds: Mapping[str, str]
    twins: frozenset[str] = frozenset()

    @classmethod
    def of(cls, lexicon: Lexicon) -> "KeyWords":
        """Number words and units from numbers.yaml, and the sides and negatives of English."""
        numbers = lexicon.files.get("numbers")
        kinds: dict[str, str] = {}
        for unit in getattr(numbers, "units", ()):
            kinds.update((form, "unit") for form in unit.forms if " " not in form and form.isalpha() and len(form) > 2)
        for word in getattr(numbers, "words", ()):
            if word.role != "roman":
                kinds.update((form, "number") for form in word.forms if form.isalpha() and len(form) > 1)
        kinds.update(dict.fromkeys(("point", "plus", "over"), "number"))
        kinds.update(dict.fromkeys(_SIDES, "side"))
        kinds.update(dict.fromkeys(_NEGATIVES, "negative"))
        return cls(kinds, frozenset(_twins(kinds)))

    def limit(self, text: str, limits: Limits) -> float:
        """The confidence below which a key word is in doubt."""
        return limits.twin if text in self.twins else float(getattr(limits, self.kinds[text]))

    def kind(self, text: str) -> str | None:
        """number, side, negative or unit; None for any other word."""
        return self.kinds.get(text)


def _twins(words: Iterable[str]) -> Iterator[str]:
    """Eighteen and eighty and their like: one sound apart, and the commonest confusion of numbers."""
    known = set(words)
    for word in known:
        ten = word.removesuffix("teen").replace("fou", "fo") + "ty"
        if word.endswith("teen") and ten in known:
            yield from (word, ten)


def doubted(words: Words, keys: KeyWords, second: Sequence[Word] = (), limits: Limits = STANDARD) -> Words:
    """``words`` of one utterance with the doubts that their confidence and a second reading raise.

    ``second`` is the same sound heard another way, with times; where it has other words in the place of a key word,
    the doubt names them. A word that carries a doubt already keeps it.
    """
    return tuple(_doubted(word, keys, second, limits) for word in words)


def _doubted(word: Word, keys: KeyWords, second: Sequence[Word], limits: Limits) -> Word:
    kind = keys.kind(word.text)
    if kind is None or word.doubt or word.confidence is None:
        return word
    other = _in_its_place(word, second) if second else word.text
    if other != word.text and other:
        return replace(word, doubt=f"heard '{word.text}', may be '{other}'")
    if word.confidence < keys.limit(word.text, limits):
        return replace(word, doubt=_unclear(word.text))
    return word


def _unclear(text: str) -> str:
    return f"'{text}' was not heard clearly"


def _in_its_place(word: Word, second: Sequence[Word]) -> str:
    """What the second reading has where ``word`` stands: words with at least half of their time within it."""
    if word.start is None or word.end is None:
        return word.text
    inside = [
        other.text for other in second
        if other.start is not None and other.end is not None
        and min(word.end, other.end) - max(word.start, other.start) >= 0.5 * (other.end - other.start)
    ]
    return word.text if word.text in inside else " ".join(inside)


def too_noisy(words: Collection[Word], limits: Limits = STANDARD) -> bool:
    """Whether so many of the words of a stretch of speech are in doubt that the room is too noisy for dictation."""
    unsure = [word for word in words if word.confidence is not None and word.confidence < limits.number]
    return len(words) >= _ENOUGH and len(unsure) > limits.noisy * len(words)


#: Said once of a room in which most words are heard unsurely.
TOO_LOUD = (
    "The room is too loud for dictation: most words were heard unsurely. Speak nearer to the microphone or make the "
    "room quieter, and check every number, side and negative."
)


@dataclass
class Room:
    """Listens whether a room is too loud for dictation, utterance by utterance.

    Once it is, only the weakest words keep their doubts: where nearly everything is doubtful, marks on everything
    would hide what matters. ``loud`` stays set once it was.
    """

    limits: Limits = STANDARD
    loud: bool = False
    _last: deque[Word] = field(default_factory=lambda: deque(maxlen=_REMEMBERED))

    def take(self, words: Words) -> Words:
        """The words of the next utterance, with the doubts that are worth marking."""
        self._last.extend(words)
        self.loud = self.loud or too_noisy(self._last, self.limits)
        return tuple(self._calmed(word) for word in words) if self.loud else words

    def _calmed(self, word: Word) -> Word:
        weak = word.confidence is not None and word.confidence < self.limits.weak
        return replace(word, doubt=None) if word.doubt == _unclear(word.text) and not weak else word


class Restorer(Protocol):
    """Anything that gives heard words back as the words they stand for."""

    def restore(self, words: Words) -> Words: ...


@dataclass(frozen=True)
class DoubtingRestorer:
    """Restores words, then doubts them: what every utterance goes through after it was heard."""

    restorer: Restorer
    keys: KeyWords
    limits: Limits = STANDARD

    def restore(self, words: Words) -> Words:
        return doubted(self.restorer.restore(words), self.keys, limits=self.limits)
