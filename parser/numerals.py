"""The grammar of number words: "one twenty eight", "ninety eight point six", "two and a half".

A *run* is a stretch of number words. It is read into *groups* ("one" "twenty eight"), and the groups
into every plausible amount, the likeliest first: 128; 98.6 or 986 or two numbers; ...
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Generic, TypeVar

from lexicon import Lexicon
from lexicon.schema.measures import NumbersFile, Unit
from parser.layers import Reading
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


@dataclass(frozen=True, slots=True)
class Group:
    """Number words that belong together: "twenty eight" (28), "two hundred and five" (205), "98.6"."""

    start: int
    end: int
    value: float
    text: str
    figure: bool = False


@dataclass(frozen=True, slots=True)
class Run:
    """Groups that follow each other, and the digits said after a point; ``tail`` is a part (half, quarter)."""

    start: int
    end: int
    groups: tuple[Group, ...]
    digits: str = ""
    #: The point was a lone full stop: "ninety eight . seven".
    weak_point: bool = False
    tail: float = 0.0
    #: "a hundred and four": may be 100.4 where tenths are usual.
    tenths: bool = False

    @property
    def figure(self) -> bool:
        return len(self.groups) == 1 and self.groups[0].figure


def number_text(value: float) -> str:
    """Canonical text: no trailing zeros, a zero before the point."""
    return f"{value:.6f}".rstrip("0").rstrip(".") if value != int(value) else str(int(value))


def is_figure(word: str) -> bool:
    return word[0].isdigit() or (word[0] == "." and len(word) > 1)


def figure_text(word: str) -> str:
    """Figures as written, without thousands marks and with a zero before the point."""
    text = word.replace(",", "")
    return "0" + text if text.startswith(".") else text


class Numerals:
    """Reads runs of number words in one sequence of words."""

    def __init__(self, words: Sequence[str], tables: Grammar) -> None:
        self.words = words
        self.tables = tables

    def word(self, place: int) -> str:
        return self.words[place] if 0 <= place < len(self.words) else ""

    def role(self, place: int) -> tuple[str, float]:
        return self.tables.role.get(self.word(place), ("", 0.0))

    def run(self, start: int) -> Run | None:
        """The run that begins at ``start``, or None."""
        if self.word(start + 1) == "quarters":
            return self._part_alone(start)
        groups: list[Group] = []
        at = start
        while (group := self.group(at)) is not None and not (groups and (group.figure or groups[-1].figure)):
            groups.append(group)
            at = group.end
        if len(groups) == 1 and self._tenths_after_and(groups[0], at):
            extra = self.group(at + 1)
            assert extra is not None
            return Run(start, extra.end, (*groups, extra))
        weak = False
        digits, end = self._digits_after_point(at)
        if not digits and groups and len(groups) <= 3:
            digits, end = self._digits_after_stop(at)
            weak = bool(digits)
        if not groups and not digits:
            return self._part_alone(start)
        if digits:
            return Run(start, end, tuple(groups), digits, weak)
        return self._with_part(start, at, tuple(groups))

    def _tenths_after_and(self, group: Group, at: int) -> bool:
        """ "ninety nine and four" (99.4): only after a body temperature, before nothing that claims the digit."""
        temperature = 34 <= group.value <= 42 or 94 <= group.value <= 99
        digit = self.word(at) == "and" and self.role(at + 1)[0] == "unit"
        return temperature and digit and not group.figure and not self._claimed(at + 1) and not self.role(at + 2)[0]

    def group(self, at: int) -> Group | None:
        """One group at ``at``: a figure, a digit, a number up to 99, hundreds or thousands."""
        word = self.word(at)
        if not word:
            return None
        if is_figure(word):
            text = figure_text(word)
            return Group(at, at + 1, float(text), text, figure=True)
        role, value = self.role(at)
        if role in ("zero", "unit", "teen", "ten"):
            if role == "zero" and self.word(at + 1) == "clock":
                return None
            end, value = self._below_hundred(at)
            if value and self.role(end)[0] == "hundred":
                return self._hundreds(at, value, end + 1)
            if value and self.role(end)[0] == "thousand":
                return self._thousands(at, value, end + 1)
            return Group(at, end, value, number_text(value))
        if role == "hundred":
            return self._hundreds(at, 1, at + 1)
        return self._thousands(at, 1, at + 1) if role == "thousand" else None

    def _below_hundred(self, at: int) -> tuple[int, float]:
        role, value = self.role(at)
        if role == "ten" and self.role(at + 1)[0] == "unit":
            return at + 2, value + self.role(at + 1)[1]
        return at + 1, value

    def _hundreds(self, start: int, count: float, at: int) -> Group:
        value = count * 100
        if self.role(at)[0] == "thousand":
            return self._thousands(start, value, at + 1)
        end, tail = self._tail(at)
        if self.role(end)[0] == "thousand" and tail:
            return self._thousands(start, value + tail, end + 1)
        return Group(start, end, value + tail, number_text(value + tail))

    def _thousands(self, start: int, count: float, at: int) -> Group:
        value = count * 1000
        inner = self.group(at)
        if inner is not None and not inner.figure and 100 <= inner.value < 1000 and self.role(at)[0] != "zero":
            return Group(start, inner.end, value + inner.value, number_text(value + inner.value))
        end, tail = self._tail(at)
        return Group(start, end, value + tail, number_text(value + tail))

    def _tail(self, at: int) -> tuple[int, float]:
        """What follows hundred or thousand: "(and) four", "(and) fifty four"; nothing before "plus"."""
        joined = self.word(at) == "and"
        place = at + 1 if joined else at
        if self.role(place)[0] not in ("unit", "teen", "ten"):
            return at, 0.0
        end, value = self._below_hundred(place)
        if joined and self.word(end) in ("plus", "+", "hundred", "by", "out"):
            return at, 0.0
        if not joined and self.role(end)[0] == "hundred":
            return at, 0.0
        return end, value

    def _digits_after_point(self, at: int) -> tuple[str, int]:
        point = self.tables.sign("point", self.words, at)
        return self._digits(point) if point is not None else ("", at)

    def _digits_after_stop(self, at: int) -> tuple[str, int]:
        """A lone full stop between a number and one digit: as some transcripts write "ninety eight . six"."""
        if self.word(at) != "." or self.role(at + 1)[0] not in ("unit", "zero"):
            return "", at
        after = self.role(at + 2)[0]
        if after or self.word(at + 2) in ("plus", "+", "over", "out", "by", "/", "to"):
            return "", at
        unit = self.tables.units.at(self.words, at + 2)
        if unit is not None and unit[1][0].kind not in ("temperature", "angle"):
            return "", at
        return number_text(self.role(at + 1)[1]), at + 2

    def _digits(self, at: int) -> tuple[str, int]:
        text, here = "", at
        while len(text) < 3:
            role, value = self.role(here)
            word = self.word(here)
            if not text and word and is_figure(word) and "." not in word:
                return word, here + 1
            if not text and role in ("teen", "ten"):
                here, value = self._below_hundred(here)
                return number_text(value), here
            if role not in ("unit", "zero") or (text and self._claimed(here)):
                break
            text += number_text(value)
            here += 1
        return text, here if text else at

    def _claimed(self, place: int) -> bool:
        """The digit belongs to what follows: "point six two plus", "point six two over six"."""
        return self.word(place + 1) in ("plus", "+", "over", "out", "hundred") or self.role(place + 1)[0] in ("teen", "ten")

    def _with_part(self, start: int, at: int, groups: tuple[Group, ...]) -> Run:
        """Adds "and a half", "and three quarters", or a fraction mark."""
        tail, end = 0.0, at
        part = self._part(at + 1 if self.word(at) == "and" else at, joined=self.word(at) == "and")
        if part is not None:
            end, tail = part
        last = groups[-1]
        tenths = not tail and last.value > 100 and last.value % 100 < 10 and "and" in self.words[last.start : last.end]
        if tenths and self.word(end) == "tenths":
            return Run(start, end + 1, (*groups[:-1], Group(last.start, last.end, last.value - last.value % 100,
                                                           number_text(last.value - last.value % 100))),
                       number_text(last.value % 100))
        return Run(start, end, groups, tail=tail, tenths=tenths)

    def _part(self, at: int, joined: bool) -> tuple[int, float] | None:
        """A part at ``at``: "a half", "half", "one quarter", "three quarters"."""
        here = at + 1 if self.word(at) in ("a", "one") else at
        role, value = self.role(here)
        if role == "part" and (joined or self.word(here) in "½¼¾"):
            return here + 1, value
        if joined and self.word(at) == "three" and self.word(at + 1) == "quarters":
            return at + 2, 0.75
        return None

    def _part_alone(self, start: int) -> Run | None:
        """ "(a) half", "three quarters", "one quarter" with no whole number before."""
        role, value = self.role(start)
        if role == "unit" and self.word(start + 1) == "quarters":
            text = number_text(value * 0.25)
            return Run(start, start + 2, (Group(start, start + 2, value * 0.25, text),))
        if role != "part":
            return None
        count = self.role(start - 1)
        times = count[1] if count[0] == "unit" and self.word(start - 1) != "o" else 1
        text = number_text(value * times)
        return Run(start, start + 1, (Group(start, start + 1, value * times, text),))


def whole(groups: Sequence[Group]) -> str | None:
    """The digits of groups said as one whole number, or None: "one" "twenty eight" -> "128"."""
    values = [group.value for group in groups]
    if len(groups) == 1:
        return groups[0].text
    if any(group.figure or value != int(value) for group, value in zip(groups, values, strict=True)):
        return None
    if all(value < 10 for value in values):
        return "".join(group.text for group in groups) if len(groups) <= 4 else None
    if any(value > 99 for value in values):
        return None
    if len(values) == 2 and 1 <= values[0] and values[1] >= 10:
        return groups[0].text + groups[1].text
    if len(values) == 3 and values[0] >= 1 and values[1] == 0 and 1 <= values[2] <= 9:
        return groups[0].text + "0" + groups[2].text
    if len(values) == 3 and values[0] < 10 and values[1] < 10 <= values[2] and not values[0]:
        return groups[0].text + groups[1].text + groups[2].text
    if len(values) == 2 and values[0] == 0:
        return groups[0].text + groups[1].text
    return None


def natural(groups: Sequence[Group]) -> bool:
    """Whether the groups are an everyday way of saying one number below 1,000 (or written in figures)."""
    if len(groups) == 1:
        return True
    text = whole(groups)
    if text is None or text.startswith("0"):
        return False
    if len(groups) == 2:
        return groups[0].value < 10 <= groups[1].value
    return len(groups) == 3 and len(text) == 3


def amounts(run: Run) -> tuple[Reading, ...]:
    """Every plausible reading of a run, the likeliest first."""
    groups = run.groups
    if run.digits:
        return _with_digits(run)
    found: list[Reading] = []
    text = whole(groups)
    if text is not None and (natural(groups) or run.tail):
        found.append(_amount(text, run.tail))
    if run.tenths:
        value = groups[-1].value
        found.append(_number(f"{number_text(value - value % 100)}.{number_text(value % 100)}"))
    if run.tail:
        if len(groups) == 2 and 3 <= groups[0].value <= 8 and groups[1].value < 12:
            found.append(_height(groups[0].value, groups[1].value + run.tail))
        return tuple(found)
    found.extend(_implied_decimals(groups))
    found.extend(_clocks(groups))
    found.extend(_acuities(groups))
    if len(groups) == 2 and 3 <= groups[0].value <= 8 and groups[1].value < 12:
        found.append(_height(groups[0].value, groups[1].value))
    if text is not None and not natural(groups):
        found.append(Reading("integer", text, (float(text),)))
    parts = split(groups)
    if len(parts) > 1:
        values = tuple(float(whole(part) or 0) for part in parts)
        found.append(Reading("list", " ".join(number_text(value) for value in values), values))
    return tuple(dict.fromkeys(found))


def split(groups: Sequence[Group]) -> tuple[tuple[Group, ...], ...]:
    """The groups as separate numbers, each as long as is natural, from left to right."""
    parts: list[tuple[Group, ...]] = []
    at = 0
    while at < len(groups):
        size = next((n for n in (3, 2) if at + n <= len(groups) and natural(groups[at : at + n])), 1)
        parts.append(tuple(groups[at : at + size]))
        at += size
    return tuple(parts)


def _with_digits(run: Run) -> tuple[Reading, ...]:
    before = whole(run.groups) if run.groups else "0"
    if before is None or "." in before:
        parts = split(run.groups)
        before = whole(parts[-1]) or "0"
    reading = _number(f"{before}.{run.digits}")
    if not run.weak_point:
        return (reading,)
    return (reading, Reading("list", f"{before} {run.digits}", (float(before), float(run.digits))))


def _number(text: str) -> Reading:
    return Reading("decimal" if "." in text else "integer", text, (float(text),))


def _amount(text: str, tail: float) -> Reading:
    return _number(number_text(float(text) + tail)) if tail else _number(text)


def _implied_decimals(groups: Sequence[Group]) -> list[Reading]:
    """ "ninety eight six" -> 98.6; "one oh one four" -> 101.4; "ninety eight point" is not needed."""
    if len(groups) < 2 or any(group.figure for group in groups):
        return []
    *front, last = groups
    before = whole(front)
    if before is None or before.startswith("0") or not natural(front):
        return []
    if last.value < 10:
        return [_number(f"{before}.{last.text}")]
    if len(front) == 1 and front[0].value < 10 and last.value < 100:
        return [_number(f"{before}.{last.text}")]
    return []


def _clocks(groups: Sequence[Group]) -> list[Reading]:
    """Times of day: "fourteen thirty two", "zero eight fifteen", "fourteen hundred", "two thirty"."""
    values = [int(group.value) for group in groups]
    if any(group.value != int(group.value) for group in groups):
        return []
    if len(groups) == 1:
        text = groups[0].text
        if groups[0].figure and len(text) == 4 and int(text[:2]) < 24 and int(text[2:]) < 60:
            return [clock(int(text[:2]), int(text[2:]))]
        return [clock(values[0] // 100, 0)] if values[0] % 100 == 0 and 1000 < values[0] <= 2400 and values[0] != 2000 else []
    if values[0] == 0 and len(values) > 1 and values[1] < 10:
        values = values[1:]
    if len(values) == 2 and values[0] < 24 and 10 <= values[1] < 60:
        return [clock(values[0], values[1])]
    if len(values) == 3 and values[0] < 24 and values[1] == 0 and values[2] < 10:
        return [clock(values[0], values[2])]
    if len(values) == 2 and values[0] == 0 and values[1] % 100 == 0 and values[1] < 1000:
        return [clock(values[1] // 100, 0)]
    return []


def clock(hour: int, minute: int) -> Reading:
    """A time of day, "14:32"."""
    return Reading("clock", f"{hour:02d}:{minute:02d}", (float(hour), float(minute)))


def _height(feet: float, inches: float) -> Reading:
    return Reading("height", f"{number_text(feet)}'{number_text(inches)}\"", (feet, inches), "[in_i]")


def _acuities(groups: Sequence[Group]) -> list[Reading]:
    """ "twenty twenty", "twenty two hundred" (20/200), "six nine"."""
    if len(groups) == 2 and groups[0].value == 20 and 10 <= groups[1].value <= 400:
        return [Reading("acuity", f"20/{groups[1].text}", (20.0, groups[1].value))]
    if len(groups) == 1 and groups[0].value in (2100, 2200, 2300, 2400):
        far = (groups[0].value - 2000)
        return [Reading("acuity", f"20/{number_text(far)}", (20.0, far))]
    return []
