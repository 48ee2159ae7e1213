"""Tells how a word is heard: known to the recogniser, or by which sound-alike words."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from lexicon import Lexicon
from listener.vocabulary.cache import CompiledModel
from listener.vocabulary.ngrams import Words
from listener.vocabulary.text import Reader


@dataclass(frozen=True)
class Explanation:
    """How ``word`` is heard. ``sounds``: its pronunciations in phonemes; ``spellings``: the words that stand for it."""

    word: str
    known: bool
    sounds: tuple[str, ...]
    spellings: tuple[str, ...]

    def __str__(self) -> str:
        if self.known:
            return f"{self.word}: the recogniser knows this word."
        sounds = " or ".join(self.sounds) or "nothing known"
        if not self.spellings:
            hint = "Add it to the lexicon, or its sounds to speech.yaml."
            return f"{self.word}: not heard; it sounds like {sounds}. {hint}"
        return f"{self.word}: sounds like {sounds}; heard as {' or '.join(self.spellings)}."


def explain(word: str, compiled: CompiledModel, lexicon: Lexicon) -> tuple[Explanation, ...]:
    """How each word of a term is heard with a compiled model. Raises OSError when its word list cannot be read."""
    reader = Reader(lexicon, _words(compiled.path))
    return tuple(_explained(piece, compiled, reader) for piece in reader.said(word))


def _explained(word: str, compiled: CompiledModel, reader: Reader) -> Explanation:
    spellings = []
    for way in compiled.spellings.of_word(word):
        beside = way.after is not None or way.before is not None
        spellings.append(f"'{' '.join(way.pieces)}'" + (" (only in the trade word's company)" if beside else ""))
    sounds = tuple(" ".join(sounds) for sounds in reader.pronouncer.ways(word))
    return Explanation(word, reader.has(word), sounds, tuple(spellings))


def _words(model: Path) -> Words:
    rows = (model / "graph" / "words.txt").read_text(encoding="utf-8").split("\n")
    return Words.of([row.rsplit(" ", 1)[0] for row in rows if row])
