"""The grammar of number words: "one twenty eight", "ninety eight point six", "two and a half".

A *run* is a stretch of number words, read into *groups* ("one" "twenty eight"). What amounts a run can
stand for is told by :mod:`parser.amounts`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from parser.grammar import Grammar, figure_text, is_figure, number_text


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


class Numerals:
    """Reads runs of number words in one sequence of words."""

    def __init__(self, words: Sequence[str], tables: Grammar) -> None:
        self.words = words
        self.tables = tables

    def word(self, place: int) -> str:
        return self.words[place] if 0 <= place < len(self.words) else ""

    def loose(self, place: int) -> bool:
        """Whether a space stands before the token at ``place``; without the text it is taken so."""
        return True

    def role(self, place: int) -> tuple[str, float]:
        return self.tables.role.get(self.word(place), ("", 0.0))

    def run(self, start: int) -> Run | None:
        """The run that begins at ``start``, or None."""
        if self.word(start + 1) == "quarters":
            return self._part_alone(start)
        groups: list[Group] = []
        at = start
        while (group := self.group(at)) is not None and not (groups and (group.figure or groups[-1].figure)):
            if groups and self._named(at):
                break
            groups.append(group)
            at = group.end
        if len(groups) == 1 and self._tenths_after_and(groups[0], at):
            extra = self.group(at + 1)
            assert extra is not None
            return Run(start, extra.end, (*groups, extra))
        weak = False
        pointed = bool(groups) and "." in groups[-1].text  # a figure with a point of its own takes no second
        digits, end = ("", at) if pointed else self._digits_after_point(at)
        if not digits and groups and len(groups) <= 3 and not pointed:
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
        digit = self.role(at + 1)
        if (
            role == "ten"
            and digit[0] == "unit"
            and not (value >= 30 and digit[1] == 1 and self._begins_hundred(at + 2))
        ):
            return at + 2, value + digit[1]
        return at + 1, value

    def _begins_hundred(self, place: int) -> bool:
        """After "eighty one": "hundred", "oh one" make it "eighty | one hundred", "eighty | one oh one"."""
        role = self.role(place)[0]
        return role == "hundred" or (role == "zero" and self.role(place + 1)[0] == "unit" and not self._named(place))

    def _named(self, place: int) -> bool:
        """Whether "o two sat" and the like begin at ``place``: a name, no digits."""
        found = self.tables.names.at(self.words, place) if self.word(place) in ("o", "oh") else None
        return found is not None and found[0] - place > 2

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
        if self.word(at) != "." or not self.loose(at) or self.role(at + 1)[0] not in ("unit", "zero"):
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
            if not text and word.isdecimal():
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
        return self.word(place + 1) in ("plus", "+", "over", "out", "hundred") or self.role(place + 1)[0] in (
            "teen",
            "ten",
        )

    def _with_part(self, start: int, at: int, groups: tuple[Group, ...]) -> Run:
        """Adds "and a half", "and three quarters", or a fraction mark."""
        tail, end = 0.0, at
        part = self._part(at + 1 if self.word(at) == "and" else at, joined=self.word(at) == "and")
        if part is not None:
            end, tail = part
        last = groups[-1]
        tenths = not tail and last.value > 100 and last.value % 100 < 10 and "and" in self.words[last.start : last.end]
        if tenths and self.word(end) == "tenths":
            return Run(
                start,
                end + 1,
                (
                    *groups[:-1],
                    Group(
                        last.start, last.end, last.value - last.value % 100, number_text(last.value - last.value % 100)
                    ),
                ),
                number_text(last.value % 100),
            )
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
