"""Numbers: every number expression in an utterance with all its plausible readings.

"ninety eight six" may be 98.6, 986 or two numbers: the slot that takes it decides, not this component.
"""

from __future__ import annotations

from dataclasses import replace

from lexicon import Lexicon
from parser.amounts import amounts, one_number, parts_of
from parser.components.layer import register
from parser.grammar import Grammar, grammar
from parser.layers import Number, Reading
from parser.numerals import Run
from parser.operands import Operand
from parser.special_numbers import SpecialNumbers
from parser.tokens import Tokens

_FIGURES = frozenset("0123456789.")
#: Alone it is no zero.
_INTERJECTION = "oh"
_SYMBOL = {"less": "<", "at_most": "<=", "more": ">", "at_least": ">="}


def find_numbers(tokens: Tokens, lexicon: Lexicon) -> tuple[Number, ...]:
    """Number expressions in order, without overlap, each with its readings (the likeliest first)."""
    tables = grammar(lexicon)
    anchors = tables.anchors
    places = [i for i, word in enumerate(tokens.words) if word in anchors or word[0] in _FIGURES]
    if not places:
        return ()
    finder = _Finder(tokens, tables)
    for place in places:
        if place >= finder.floor:
            finder.read(place)
    return tuple(n for n in finder.found if tokens.words[n.start : n.end] != (_INTERJECTION,))


def separate(tokens: Tokens, number: Number, lexicon: Lexicon) -> tuple[Number, ...]:
    """The numbers of one whose reading is a list: "ninety eight two liters" -> 98, 2 L."""
    finder = _Finder(tokens, grammar(lexicon))
    run = finder.run(number.start) if number.readings[-1].shape == "list" else None
    if run is None:
        return (number,)
    if run.end > number.end:
        groups = tuple(group for group in run.groups if group.end <= number.end)
        run = Run(run.start, number.end, groups)
    if run.weak_point:
        before = Run(run.start, run.end - 2, run.groups)
        last = Number(run.end - 1, number.end, (_plain(run.digits, number.readings[0].unit),))
        return (*parts_of(before, run.end - 2, None), last)
    return tuple(parts_of(run, number.end, number.readings[0].unit))


def _plain(text: str, unit: str | None) -> Reading:
    return Reading("decimal" if "." in text else "integer", text, (float(text),), unit)


class _Finder(SpecialNumbers):
    def __init__(self, tokens: Tokens, tables: Grammar) -> None:
        super().__init__(tokens, tables)
        self.found: list[Number] = []

    def read(self, place: int) -> None:
        """Read the expression whose first number word stands at ``place``; moves the floor behind it."""
        if (end := self._name(place)) is not None:
            self.floor = end
            return
        if (number := self.special(place)) is not None:
            self._add(number)
            return
        if self.word(place) in self.tables.no_starts or self._letter_and_figure(place) or self._pronoun(place):
            return
        run = self.run(place)
        if run is not None:
            self._expression(run)

    def _add(self, number: Number) -> None:
        self.found.append(number)
        self.floor = number.end

    def _name(self, place: int) -> int | None:
        """The end of a name with a number in it ("o two", "s one") that covers ``place``; none before "plus"."""
        for start in range(max(self.floor, place - 4), place + 1):
            found = self.tables.names.at(self.words, start)
            if found is not None and found[0] > place and self.word(found[0]) != "plus":
                return found[0]
        return None

    def _letter_and_figure(self, place: int) -> bool:
        """ "c5": a figure grown to a letter that is no abbreviation of a measure."""
        before = self.word(place - 1)
        return len(before) == 1 and before.isalpha() and self.attached(place) and before in "bcdghlnsz"

    def _pronoun(self, place: int) -> bool:
        if self.word(place) != "one" or self.role(place + 1)[0]:
            return False
        before, after = self.word(place - 1), self.word(place + 1)
        if self.sign("out_of", place + 1) and self.role(self.sign("out_of", place + 1) or 0)[0]:
            return False
        return before in self.tables.pronoun_before or after in self.tables.pronoun_after

    # -- expressions that begin with an amount ----------------------------------------------------

    def _expression(self, run: Run) -> None:
        rest, left = self.last_operand(run)
        joined = (
            self.clock_time(left, run)
            or self.date(left)
            or self.pair(left)
            or self.size(left)
            or self.range(left)
            or self.two_units(left)
            or self._plus_after(left)
        )
        if joined is None:
            self._amount(run, left)
            return
        end, readings = joined
        if rest and readings[0].shape != "clock":
            self._add_run(Run(run.start, rest[-1].end, rest), rest[-1].end, None)
        start = self._prefix_of_joined(left.start, readings)
        if readings[0].shape == "score" and (staged := self.sign_before("staged", start)) is not None:
            start = staged
        self._add(Number(min(start, run.start) if readings[0].shape == "clock" else start, end, readings))

    def _plus_after(self, left: Operand) -> tuple[int, tuple[Reading, ...]] | None:
        """A grade with the plus behind it, unless the plus stands in front ("+1 +2")."""
        before = self.sign_before("plus", left.start)
        after = self.sign("plus", left.end)
        if before is not None and after is not None and self.group(after) is not None:
            return None
        return self.grade(left)

    def _prefix_of_joined(self, start: int, readings: tuple[Reading, ...]) -> int:
        if readings[0].shape == "range" and (between := self.sign_before("between", start)) is not None:
            return between
        return start

    def _amount(self, run: Run, left: Operand) -> None:
        """A run that nothing joins: its amounts, with unit and with words in front of it."""
        place = run.end
        if run.start + 1 == run.end and self.role(run.start)[0] == "part":
            while self.word(place) in ("of", "a", "an"):
                place += 1
        unit = self.unit(place, run.figure)
        end = unit[0] if unit else run.end
        self._add_run(run, end, unit[1] if unit else None)

    def _add_run(self, run: Run, end: int, unit: str | None) -> None:
        kind = self.tables.unit_by_code[unit].kind if unit else ""
        if len(run.groups) > 1 and not one_number(run) and kind not in ("volume", "mass"):
            self._add_row(run, end, unit)
            return
        readings = tuple(replace(reading, unit=reading.unit or unit) for reading in amounts(run))
        start = run.start
        if (
            run.groups
            and self.role(start)[0] in ("hundred", "thousand", "part")
            and self.word(start - 1) in ("a", "one", "three")
        ):
            start = max(self.floor, start - 1)
        if readings:
            self._add(self._qualified(Number(start, end, readings)))

    def _add_row(self, run: Run, end: int, unit: str | None) -> None:
        """Several numbers in a row; a whole and its tenth stay together ("sixteen | ninety eight six")."""
        parts = parts_of(run, end, unit)
        by_start = {group.start: i for i, group in enumerate(run.groups)}
        while parts:
            first, *parts = parts
            tenth = (
                parts
                and first.readings[0].numbers[0] >= 30
                and parts[0].end - parts[0].start == 1
                and parts[0].readings[0].numbers[0] < 10
            )
            if tenth and parts[0].readings[0].unit is None and not run.digits:
                second, *parts = parts
                last = by_start[second.start] + 1
                both = Run(first.start, second.end, run.groups[by_start[first.start] : last])
                self._add(self._qualified(Number(first.start, second.end, amounts(both))))
            else:
                self._add(self._qualified(first))

    def _qualified(self, number: Number) -> Number:
        """The number with the words in front of it or behind it: "less than", "times", "stage", "plus"."""
        first = number.readings[0]
        for name, symbol in _SYMBOL.items():
            if (start := self.sign_before(name, number.start)) is not None:
                readings = tuple(_compared(reading, symbol) for reading in number.readings if len(reading.numbers) == 1)
                return Number(start, number.end, readings or number.readings)
        for name, symbol in (("or_less", "<="), ("or_more", ">=")):
            if (end := self.sign(name, number.end)) is not None and len(first.numbers) == 1:
                return Number(number.start, end, (_compared(first, symbol),))
        over = number.start - 1
        if self.word(over) == "over" and over >= self.floor and first.unit and len(first.numbers) == 1:
            return Number(over, number.end, (_compared(first, ">"),))
        if (end := self.sign("ago", number.end)) is not None and first.unit:
            text = f"{first.text} {self.tables.unit_by_code[first.unit].id}{'s' if first.numbers[0] != 1 else ''} ago"
            return Number(number.start, end, (Reading("ago", text, first.numbers, first.unit),))
        if (
            self.word(number.start - 1) in ("minus", "−")
            and number.start > self.floor
            and first.shape in ("integer", "decimal")
        ):
            signed = Reading("signed", f"-{first.text}", (-first.numbers[0],), first.unit)
            return Number(number.start - 1, number.end, (signed,))
        if (end := self.sign("often", number.end)) is not None and first.shape == "integer":
            text = f"{first.text} {' '.join(self.words[number.end : end])}"
            return Number(number.start, end, (Reading("frequency", text, first.numbers),))
        return self._with_sign(number, first)

    def _with_sign(self, number: Number, first: Reading) -> Number:
        small = first.shape == "integer" and first.numbers[0] <= 12 and first.unit is None
        if not small:
            return self._with_month(number, first)
        value = first.text
        if (start := self.sign_before("plus", number.start)) is not None and first.numbers[0] <= 6:
            readings = (Reading("grade", f"{value}+", first.numbers), Reading("signed", f"+{value}", first.numbers))
            return Number(start, number.end, readings)
        if (start := self.sign_before("times", number.start)) is not None:
            return Number(start, number.end, (Reading("times", f"x{value}", first.numbers),))
        if (start := self.sign_before("staged", number.start)) is not None:
            plain = number.readings if self.word(start) in ("level", "type") else ()
            return Number(start, number.end, (Reading("stage", f"{self.word(start)} {value}", first.numbers), *plain))
        if (start := self.sign_before("labels", number.start)) is not None:
            label = f"{self.word(start)} {value}"
            return Number(start, number.end, (Reading("label", label, first.numbers),))
        if (start := self.sign_before("minus", number.start)) is not None:
            signed = Reading("signed", f"-{value}", (-first.numbers[0],))
            return Number(
                start, number.end, (signed,) if self.word(start) != "negative" else (*number.readings, signed)
            )
        return self._with_month(number, first)

    def _with_month(self, number: Number, first: Reading) -> Number:
        month = self.word(number.start - 1)
        if (
            month in self.tables.months
            and month not in ("may", "mar")
            and number.start > self.floor
            and first.numbers[0] <= 31
        ):
            text = f"{first.text} {month}"
            reading = Reading("date", text, (first.numbers[0], float(self.tables.months[month])))
            return Number(number.start - 1, number.end, (reading,))
        return number


def _compared(reading: Reading, symbol: str) -> Reading:
    return replace(reading, shape="comparator", text=symbol + reading.text)


create_numbers = register("numbers", find_numbers)
