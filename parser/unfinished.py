"""Whether an utterance breaks off before its meaning is complete, so that the next one is needed."""

from __future__ import annotations

from spacy.tokens import Doc

from lexicon import Lexicon
from parser.transcript import Utterance

#: Words that leave something open when they end an utterance.
_OPEN = frozenset(
    "no not without denies denied and or nor over is are was at the a to of with than by per point under "
    "less greater about approximately measures measuring correction".split()
)
#: No more than this many words wait for the next utterance, and no silence longer than this in seconds.
MOST_WORDS = 60


def breaks_off(doc: Doc, utterance: Utterance, lexicon: Lexicon) -> bool:
    """True for "blood pressure", "one twenty eight over", "no", "redness and" and their like."""
    layers = doc._
    words = layers.crownsole_tokens.words
    if not words or len(words) > MOST_WORDS:
        return False
    if layers.crownsole_asides and layers.crownsole_asides[-1].end >= len(words):
        return False
    if words[-1] in _OPEN:
        return True
    return _awaits_number(layers.crownsole_terms, layers.crownsole_values, words) or _half_pair(
        layers.crownsole_values, words
    )


def _awaits_number(terms: tuple, values: tuple, words: tuple[str, ...]) -> bool:  # type: ignore[type-arg]
    if not terms or terms[-1].end < len(words) or any(term.kind == "concept" for term in terms[-1].terms):
        return False
    index = len(terms) - 1
    return any(term.kind == "measure" for term in terms[-1].terms) and not any(v.mention == index for v in values)


def _half_pair(values: tuple, words: tuple[str, ...]) -> bool:  # type: ignore[type-arg]
    """A blood pressure of which only one number was said."""
    if not values or values[-1].end < len(words):
        return False
    last = values[-1]
    return last.measure == "blood_pressure" and last.value.pair is None
