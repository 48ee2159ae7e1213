"""The grammar of notes: lists, plurals, and the class of a label, told by words from ``note.yaml``."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Literal

from lexicon import Lexicon
from lexicon.schema.note import NoteFile, Wording

Shape = Literal["adjective", "noun", "clause", "verb"]
_PREPOSITIONS = frozenset(("of", "in", "on", "to", "with", "behind", "under", "at", "by", "from", "for", "within",
                           "around", "between", "above", "below", "near", "over", "through", "than"))
_JOINS = frozenset(("and", "or", "to"))


def joined(parts: Sequence[str], last: str = "and") -> str:
    """ "a", "a and b", "a, b and c"."""
    return f" {last} ".join((", ".join(parts[:-1]), parts[-1])) if len(parts) > 1 else "".join(parts)


def sentence(text: str) -> str:
    """With a capital letter in front and a full stop behind, unless it has one."""
    text = text.strip()
    if not text:
        return text
    return text[0].upper() + text[1:] + ("" if text.endswith((".", "?", "!")) else ".")


def _head(words: Sequence[str]) -> int:
    """The place of the noun that has the number: the last word before a preposition."""
    return next((i for i, word in enumerate(words) if word in _PREPOSITIONS and i), len(words)) - 1


def _many(word: str) -> str:
    if word.endswith("s") and not word.endswith(("ss", "us", "is")):
        return word
    if word.endswith(("s", "x", "ch", "sh")):
        return word + "es"
    return word[:-1] + "ies" if word.endswith("y") and word[-2:-1] not in "aeiou" else word + "s"


@dataclass(frozen=True, eq=False)
class Grammar:
    """The word classes, units and templates of one lexicon."""

    lexicon: Lexicon

    @property
    def file(self) -> NoteFile:
        file = self.lexicon.files.get("note")
        return file if isinstance(file, NoteFile) else NoteFile()

    @cached_property
    def lists(self) -> dict[str, frozenset[str]]:
        return {each.id: frozenset(each.words) for each in self.file.word_lists}

    @cached_property
    def templates(self) -> dict[str, str]:
        return {each.id: each.text for each in self.file.templates}

    @cached_property
    def units(self) -> dict[str, tuple[str, bool]]:
        return {each.code: (each.text, each.close) for each in self.file.written_units}

    @cached_property
    def avoided(self) -> re.Pattern[str]:
        """What must never be written, as one pattern; it finds nothing when the list is empty."""
        return re.compile("|".join(pattern for each in self.file.avoid for pattern in each.patterns) or r"(?!)")

    @cached_property
    def irregular(self) -> dict[str, str]:
        return {each.id: each.many for each in self.file.irregular_plurals}

    @cached_property
    def wordings(self) -> dict[str, Wording]:
        return {each.id: each for each in self.file.wordings}

    def plural(self, noun: str) -> str:
        """The plural of a name; "apex of the heart" gets it on "apex"."""
        words = noun.split()
        at = _head(words)
        words[at] = self.irregular.get(words[at]) or (
            words[at] if words[at] in self.irregular.values() else _many(words[at]))
        return " ".join(words)

    def is_plural(self, noun: str) -> bool:
        """Whether a name takes "are"."""
        words = noun.split()
        word = words[_head(words)] if words else ""
        if word in self.irregular.values() or word in self.lists.get("plural", ()):
            return True
        return word.endswith("s") and not word.endswith(("ss", "us", "is"))

    def say(self, template: str, **fields: str) -> str:
        """A template with its fields filled in."""
        return self.templates[template].format_map(fields)

    def is_adjective(self, word: str) -> bool:
        lists = self.lists
        if word in lists.get("adjectives", ()) or word.startswith(tuple(lists.get("adjective_beginnings", ()))):
            return True
        return word.endswith(tuple(lists.get("adjective_endings", ()))) and word not in lists.get("nouns", ())

    def shape(self, label: str) -> tuple[Shape, str, str]:
        """The class of a label, and for a clause its subject and predicate ("turgor", "good")."""
        words = label.replace(",", " ,").split()
        low = [word.lower() for word in words]
        if low[0] in self.lists.get("verbs", ()):
            return "verb", "", label
        if self._predicate(low) and self.is_adjective(low[0]):
            return "adjective", "", label
        at = next((i for i, word in enumerate(low) if self.is_adjective(word) or word == "within"), 0)
        if at == 0 or any(word in _PREPOSITIONS for word in low[:at]) or not self._predicate(low[at:]):
            return "noun", "", label
        if low[at].endswith("ly") and not any(self.is_adjective(word) for word in low[at + 1 :]):
            return "verb", "", label
        return "clause", " ".join(words[:at]).replace(" ,", ","), " ".join(words[at:]).replace(" ,", ",")

    def _predicate(self, words: Sequence[str]) -> bool:
        """A predicate has its adjectives in front; a noun after them makes the whole a name."""
        at = next((i for i, word in enumerate(words)
                   if not (self.is_adjective(word) or word in _JOINS or word == ",")), len(words))
        return at == len(words) or words[at] in _PREPOSITIONS or words[at - 1] == "to"

    def quantity(self, text: str, unit: str | None) -> str:
        """A value of the record in prose: "118/76 mmHg", "less than 2 seconds", "2 x 3 cm"."""
        return _prose(text, *self.units.get(unit or "", (unit or "", False)))


_SIGNS = (("≤", "at most "), ("≥", "at least "), ("<", "less than "), (">", "greater than "), ("~", "about "))


@lru_cache(maxsize=4096)
def _prose(text: str, unit: str, close: bool) -> str:
    front = ""
    for sign, words in _SIGNS:
        if text.startswith(sign):
            front, text = words, text[len(sign):]
    if text.replace(".", "").replace("x", "").isdigit() and "x" in text[1:]:
        text = text.replace("x", " x ")
    if text.count("-") == 1 and text.replace("-", "").replace(".", "").isdigit() and not text.startswith("-"):
        text = text.replace("-", " to ")
    tail = unit if close or not unit else f" {unit}"
    if text.endswith('"') and "'" in text:
        tail = ""
    return f"{front}{text}{tail}"


@lru_cache(maxsize=4)
def grammar_of(lexicon: Lexicon) -> Grammar:
    """The grammar of a lexicon, cached."""
    return Grammar(lexicon)
