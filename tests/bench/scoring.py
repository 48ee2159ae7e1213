"""How well dictation was heard: word error rate, key words, and lines with every key word right."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import jiwer

from lexicon import Lexicon
from listener.vocabulary.spoken import plain

SIDES = frozenset(["left", "right", "both", "bilateral", "bilaterally"])
NEGATIVES = frozenset([
    "no", "not", "none", "never", "denies", "without", "absent", "negative", "nor", "neither", "unable", "non",
])
NUMBERS = frozenset([
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen", "twenty", "thirty",
    "forty", "fifty", "sixty", "seventy", "eighty", "ninety", "hundred", "thousand", "point", "half", "plus",
    "over", "first", "second", "third", "fourth", "fifth",
])
UNITS = frozenset([
    "percent", "degrees", "fahrenheit", "celsius", "kilograms", "pounds", "centimeters", "millimeters",
    "inches", "feet", "foot", "liters", "milliliters", "mils", "gauge", "french", "minute", "minutes",
    "seconds",
])
KEY = SIDES | NEGATIVES | NUMBERS | UNITS
_FILLERS = frozenset(["uh", "um", "er", "hmm", "mm", "hm"])
_JOINED = re.compile(r"\b(non|un|o|mid|hypo|hyper|normo) (?=[a-z])")
_SAME = {"oh": "zero", "o'clock": "oclock", "okay": "ok", "alright": "all right", "metre": "meter"}


class Scorer:
    """Compares texts in one spelling: British letters, "non tender", "oh" and hesitations make no difference."""

    def __init__(self, lexicon: Lexicon) -> None:
        spellings = getattr(lexicon.files.get("spelling"), "spellings", ())
        self._respelt = [(entry.british, entry.american) for entry in spellings]

    def words(self, text: str) -> list[str]:
        text = re.sub(r"\bo clock\b", "oclock", plain(text.replace("[unk]", " "), self._respelt))
        text = " ".join(_SAME.get(word, word) for word in text.replace("-", " ").split() if word not in _FILLERS)
        return re.sub(r"[^a-z' ]+", " ", _JOINED.sub(r"\1", text)).split()

    def key_words(self, text: str) -> list[str]:
        return [word for word in self.words(text) if word in KEY - UNITS]


@dataclass(frozen=True)
class Score:
    """``error_rate`` of words; ``exact``: share of lines whose numbers, sides and negatives came in order."""

    error_rate: float
    exact: float
    lines: int


def score(said: Sequence[str], heard: Sequence[str], scorer: Scorer) -> Score:
    """Score of heard lines against said lines."""
    references = [" ".join(scorer.words(line)) or "x" for line in said]
    hypotheses = [" ".join(scorer.words(line)) for line in heard]
    right = sum(scorer.key_words(a) == scorer.key_words(b) for a, b in zip(said, heard, strict=True))
    return Score(jiwer.wer(references, hypotheses), right / max(1, len(said)), len(said))
