"""The tables of numbers.yaml, compiled: number words, signs, units and names by their words."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any, Generic, TypeVar

from lexicon import Lexicon
from lexicon.schema.measures import NumbersFile, Unit
from parser.tokens import words_of

Item = TypeVar("Item")


class Phrases(Generic[Item]):
    """Short phrases found at a place, or ending before a place; the longest first."""

    def __init__(self) -> None:
        self._forward: dict[Any, Any] = {}
        self._backward: dict[Any, Any] = {}

    def add(self, form: str, item: Item) -> None:
        words = words_of(form)
        if words:
            _grow(self._forward, words, item)
            _grow(self._backward, words[::-1], item)

    def every(self, words: Sequence[str], place: int) -> list[tuple[int, Item]]:
        """The end and the item of every phrase that begins at ``place``, the longest first."""
        node, last = self._forward, len(words)
        found: list[tuple[int, Item]] = []
        while place < last and (following := node.get(words[place])) is not None:
            node = following
            place += 1
            if None in node:
                found[:0] = [(place, item) for item in node[None]]
        return found

    def at(self, words: Sequence[str], place: int) -> tuple[int, Item] | None:
        """The end and the item of the longest phrase that begins at ``place``."""
        if not 0 <= place < len(words) or words[place] not in self._forward:
            return None
        found = self.every(words, place)
        return found[0] if found else None

    def before(self, words: Sequence[str], place: int) -> tuple[int, Item] | None:
        """The start and the item of the longest phrase that ends just before ``place``."""
        node = self._backward
        found: tuple[int, Item] | None = None
        while place > 0 and (following := node.get(words[place - 1])) is not None:
            node = following
            place -= 1
            if None in node:
                found = place, node[None][0]
        return found

    def starts(self) -> frozenset[str]:
        return frozenset(self._forward)


def _grow(node: dict[Any, Any], words: Sequence[str], item: object) -> None:
    for word in words:
        node = node.setdefault(word, {})
    items = node.setdefault(None, [])
    if item not in items:
        items.append(item)


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
        self.changes: Phrases[str] = Phrases()
        for form in file.changes:
            self.changes.add(form, form)
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
    return word[:1].isdecimal() or (len(word) > 1 and word[0] == ".")


def figure_text(word: str) -> str:
    """Figures as written, without thousands marks and with a zero before the point."""
    text = word.replace(",", "")
    return "0" + text if text.startswith(".") else text
