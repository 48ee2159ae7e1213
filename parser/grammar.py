"""The tables of numbers.yaml, compiled: number words, signs, units and names by their words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Generic, TypeVar

from lexicon import Lexicon
from lexicon.schema.measures import NumbersFile, Unit
from parser.tokens import words_of

Item = TypeVar("Item")


class Phrases(Generic[Item]):
    """Short phrases found at a place, or ending before a place; the longest one first."""

    def __init__(self) -> None:
        self._first: dict[str, list[tuple[tuple[str, ...], Item]]] = {}
        self._last: dict[str, list[tuple[tuple[str, ...], Item]]] = {}

    def add(self, form: str, item: Item) -> None:
        words = words_of(form)
        if words:
            for table, key in ((self._first, words[0]), (self._last, words[-1])):
                entries = table.setdefault(key, [])
                if (words, item) not in entries:
                    entries.append((words, item))
                    entries.sort(key=lambda entry: -len(entry[0]))

    def at(self, words: Sequence[str], place: int) -> tuple[int, Item] | None:
        """The end and the item of the longest phrase that begins at ``place``."""
        if 0 <= place < len(words):
            for phrase, item in self._first.get(words[place], ()):
                end = place + len(phrase)
                if tuple(words[place:end]) == phrase:
                    return end, item
        return None

    def find(self, words: Sequence[str], place: int, wanted: Callable[[Item], bool]) -> tuple[int, Item] | None:
        """Like :meth:`at`, the longest whose item is wanted."""
        for phrase, item in self._first.get(words[place], ()):
            end = place + len(phrase)
            if wanted(item) and tuple(words[place:end]) == phrase:
                return end, item
        return None

    def every(self, words: Sequence[str], place: int) -> list[tuple[int, Item]]:
        """Every phrase that begins at ``place``, the longest first."""
        found = []
        for phrase, item in self._first.get(words[place], ()):
            end = place + len(phrase)
            if tuple(words[place:end]) == phrase:
                found.append((end, item))
        return found

    def before(self, words: Sequence[str], place: int) -> tuple[int, Item] | None:
        """The start and the item of the longest phrase that ends just before ``place``."""
        if 0 < place <= len(words):
            for phrase, item in self._last.get(words[place - 1], ()):
                start = place - len(phrase)
                if start >= 0 and tuple(words[start:place]) == phrase:
                    return start, item
        return None

    def starts(self) -> frozenset[str]:
        return frozenset(self._first)


class Grammar:
    """The tables of numbers.yaml, compiled for reading."""

    def __init__(self, file: NumbersFile) -> None:
        self.file = file
        self.role: dict[str, tuple[str, float]] = {}
        self.roman: dict[str, int] = {}
        self.sounds: dict[str, float] = {}
        for word in file.words:
            for form in word.forms:
                if word.role == "roman":
                    self.roman[form] = int(word.value)
                else:
                    self.role[form] = (word.role, word.value)
            self.sounds.update(dict.fromkeys(word.sounds, word.value))
        self.signs: dict[str, Phrases[str]] = {}
        for operator in file.operators:
            phrases = self.signs.setdefault(operator.sign, Phrases())
            for form in operator.forms:
                phrases.add(form, operator.id)
        self.units: Phrases[tuple[Unit, bool]] = Phrases()
        for unit in file.units:
            for weak, forms in ((False, unit.forms), (True, unit.weak)):
                for form in forms:
                    self.units.add(form, (unit, weak))
        self.unit_by_code = {unit.code: unit for unit in reversed(file.units)}
        self.names: Phrases[str] = Phrases()
        for name in file.names:
            for form in name.forms:
                self.names.add(form, name.id)
        self.months = {month: i % 12 + 1 for i, month in enumerate(file.months[:12])}
        for month in file.months[12:]:
            self.months[month] = next(n for full, n in list(self.months.items()) if full.startswith(month[:3]))
        self.links = frozenset(file.links)
        self.pronoun_before = frozenset(file.pronoun_before)
        self.pronoun_after = frozenset(file.pronoun_after)
        #: Words at which a number expression can have its first number.
        self.anchors = frozenset(self.role) - {"o"} | {"point", "trace", "plus", "times"}
        self.anchors |= {form for form in self.roman if len(form) > 1} | self.signs_of("staged")
        self.anchors |= {word[:-1] + "ies" for word, (role, _) in self.role.items() if role == "ten"}
        #: Anchors that are no numbers themselves.
        self.no_starts = frozenset(self.roman) | self.signs_of("staged") | {"plus", "times"}

    def signs_of(self, name: str) -> frozenset[str]:
        """First words of a sign."""
        return self.signs[name].starts() if name in self.signs else frozenset()

    def sign(self, name: str, words: Sequence[str], place: int) -> int | None:
        """The end of a sign at ``place``, or None."""
        phrases = self.signs.get(name)
        found = phrases.at(words, place) if phrases else None
        return found[0] if found else None

    def sign_before(self, name: str, words: Sequence[str], place: int) -> int | None:
        """The start of a sign that ends before ``place``, or None."""
        phrases = self.signs.get(name)
        found = phrases.before(words, place) if phrases else None
        return found[0] if found else None


@lru_cache(maxsize=4)
def grammar(lexicon: Lexicon) -> Grammar:
    """The compiled number grammar of a lexicon."""
    file = lexicon.files.get("numbers")
    return Grammar(file if isinstance(file, NumbersFile) else NumbersFile())


def number_text(value: float) -> str:
    """Canonical text: no trailing zeros, a zero before the point."""
    return f"{value:.6f}".rstrip("0").rstrip(".") if value != int(value) else str(int(value))


def is_figure(word: str) -> bool:
    return word[:1].isdigit() or (len(word) > 1 and word[0] == ".")


def figure_text(word: str) -> str:
    """Figures as written, without thousands marks and with a zero before the point."""
    text = word.replace(",", "")
    return "0" + text if text.startswith(".") else text
