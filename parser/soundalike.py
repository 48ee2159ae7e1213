"""What sounds alike: pronunciations as strings of features, and pieces of the lexicon found by how they sound.

A consonant is written as manner, place and voice, a vowel as height and backness with its glide, one letter each, as
phoneticians describe them (International Phonetic Association, Handbook 1999; common practice for English). The edit
distance of two such strings then weighs confusions by features: "p" for "b" costs one of three letters, "p" for "l"
costs all, vowels cost less than consonants.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from itertools import islice, product

from rapidfuzz.distance import Levenshtein
from rapidfuzz.process import extract

from lexicon import Lexicon
from lexicon.schema.speech import SpeechFile
from lexicon.sounds import Pronouncer, Sounds
from parser.tokens import words_of

#: Manner (p stop, f fricative, s sibilant, c affricate, n nasal, l, r, g glide), place (b lips, d teeth and gums,
#: j palate, k velum), voice. HH has no place.
_CONSONANTS = {
    "P": "pb-", "B": "pb+", "T": "pd-", "D": "pd+", "K": "pk-", "G": "pk+", "F": "fb-", "V": "fb+", "TH": "fd-",
    "DH": "fd+", "S": "sd-", "Z": "sd+", "SH": "sj-", "ZH": "sj+", "CH": "cj-", "JH": "cj+", "M": "nb+", "N": "nd+",
    "NG": "nk+", "L": "ld+", "R": "rj+", "W": "gb+", "Y": "gj+", "HH": "h",
}
#: Height (I high, E mid, A low), backness (F front, C central, B back), glide.
_VOWELS = {
    "IY": "IF", "IH": "IF", "EH": "EF", "AE": "AF", "AH": "EC", "AA": "AB", "AO": "AB", "UH": "IB", "UW": "IB",
    "ER": "ECrj+", "EY": "EFy", "AY": "AFy", "OY": "EBy", "OW": "EBw", "AW": "AFw",
}
_FEATURES = {**_CONSONANTS, **_VOWELS}
_WAYS_OF_A_WORD, _WAYS_OF_A_PIECE = 2, 4
_APART = Levenshtein.normalized_distance
_REMEMBERED = 20_000

Piece = tuple[str, ...]


def unlike(one: str, other: str, limit: float = 1.0) -> float:
    """How unlike two strings of features are, 0 (the same) to 1; 1 when more than ``limit``."""
    return float(_APART(one, other, score_cutoff=limit))


class Ear:
    """Knows how words and pieces of several words sound; remembers what it was asked."""

    def __init__(self, lexicon: Lexicon) -> None:
        speech = lexicon.files.get("speech")
        self._pronouncer = Pronouncer.of(speech if isinstance(speech, SpeechFile) else SpeechFile())
        self._words: dict[str, tuple[str, ...]] = {}
        self._pieces: dict[Piece, tuple[str, ...]] = {}

    def word(self, word: str) -> tuple[str, ...]:
        """The likeliest ways of saying a word; none for what has no letters."""
        if word not in self._words:
            if len(self._words) > _REMEMBERED:
                self._words.clear()
            ways = self._pronouncer.ways(word)[:_WAYS_OF_A_WORD] if word.isalpha() else ()
            self._words[word] = tuple(dict.fromkeys(map(_features, ways)))
        return self._words[word]

    def piece(self, words: Piece) -> tuple[str, ...]:
        """The likeliest ways of saying words in a row; none when one of them has no sound."""
        if words not in self._pieces:
            if len(self._pieces) > _REMEMBERED:
                self._pieces.clear()
            self._pieces[words] = self._together(words)
        return self._pieces[words]

    def _together(self, words: Piece) -> tuple[str, ...]:
        ways = islice(product(*map(self.word, words)), _WAYS_OF_A_PIECE)
        return tuple(dict.fromkeys(map("".join, ways)))

    def size(self, words: Piece) -> int:
        """Features in the likeliest way of saying a piece; 0 when it has none."""
        ways = self.piece(words)
        return len(ways[0]) if ways else 0

    def unlike(self, one: Piece, other: Piece, limit: float = 1.0) -> float:
        """How unlike two pieces sound in the ways that are nearest; 1 when more than ``limit``."""
        return min(
            (unlike(a, b, limit) for a in self.piece(one) for b in self.piece(other)), default=1.0
        )


def _features(sounds: Sounds) -> str:
    return "".join(map(_FEATURES.__getitem__, sounds))


class Alike:
    """A list of pieces in which those that sound like something are found."""

    def __init__(self, ear: Ear, pieces: Iterable[Piece]) -> None:
        ways = [(way, piece) for piece in dict.fromkeys(pieces) for way in ear.piece(piece)]
        self._ear = ear
        self._pieces = [piece for _, piece in ways]
        self._features = [way for way, _ in ways]

    def near(self, heard: Piece, limit: float) -> dict[Piece, float]:
        """Every piece no more than ``limit`` unlike ``heard``, with how unlike it is."""
        near: dict[Piece, float] = {}
        for way in self._ear.piece(heard):
            for _, apart, at in extract(way, self._features, scorer=_APART, score_cutoff=limit, limit=None):
                piece = self._pieces[at]
                if apart < near.get(piece, 1.1) and piece != heard:
                    near[piece] = apart
        return near


@lru_cache(maxsize=4)
def ear_of(lexicon: Lexicon) -> Ear:
    return Ear(lexicon)


def spoken(form: str) -> Piece:
    """The words of a spoken form as a piece."""
    return tuple(form.split()) if form.replace(" ", "").isalpha() else words_of(form)
