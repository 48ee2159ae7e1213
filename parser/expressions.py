"""Number expressions: amounts joined, compared and qualified by words: "one twenty over eighty", "two plus".

Each method reads one kind at a place and gives its end and its readings, or None.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from parser.amounts import amounts, clock, split, whole, with_tail
from parser.grammar import Grammar, is_figure, number_text
from parser.layers import Reading
from parser.numerals import Group, Numerals, Run
from parser.operands import Operand
from parser.tokens import Tokens

Found = tuple[int, tuple[Reading, ...]]
_DENOMINATORS = frozenset((3, 4, 5, 6, 8, 10, 12, 15, 20, 23, 30, 100))
_NOT_INCHES = frozenset(
    ("the", "a", "his", "her", "both", "all", "each", "my", "their", "left", "right", "bilateral", "your")
)


class Expressions(Numerals):
    """Reads number expressions in the tokens of one utterance."""

    def __init__(self, tokens: Tokens, tables: Grammar) -> None:
        super().__init__(tokens.words, tables)
        self.tokens = tokens
        #: No expression may reach back before this token.
        self.floor = 0

    def attached(self, place: int) -> bool:
        """Whether the token at ``place`` follows the one before without a space."""
        return 0 < place < len(self.words) and self.tokens.starts[place] == self.tokens.ends[place - 1]

    def loose(self, place: int) -> bool:
        return not self.attached(place)

    def sign(self, name: str, place: int) -> int | None:
        return self.tables.sign(name, self.words, place)

    def sign_before(self, name: str, place: int) -> int | None:
        start = self.tables.sign_before(name, self.words, place)
        return start if start is not None and start >= self.floor else None

    def last_operand(self, run: Run) -> tuple[tuple[Group, ...], Operand]:
        """The amount nearest to what follows a run, and the groups before it."""
        parts = split(run.groups) if run.groups else ()
        rest = tuple(group for part in parts[:-1] for group in part)
        last = parts[-1] if parts else ()
        if run.digits:
            text = f"{whole(last) or '0'}.{run.digits}"
            return rest, Operand(last[0].start if last else run.start, run.end, text, run.figure)
        if self._spelled(run):
            first, second = run.groups
            return (), Operand(first.start, second.end, first.text + second.text, False)
        if (borrowed := self._borrowed(rest, last, run)) is not None:
            return borrowed
        text = with_tail(whole(last) or last[-1].text, run.tail)
        return rest, Operand(last[0].start, run.end, text, run.figure)

    def _borrowed(
        self, rest: tuple[Group, ...], last: Sequence[Group], run: Run
    ) -> tuple[tuple[Group, ...], Operand] | None:
        """ "seventy one twenty over eighty" is 70 and 120/80, for 20/80 is no pressure."""
        place = self.sign("over", run.end)
        right = self.group(place) if place is not None and rest and len(last) == 1 else None
        if right is None or right.figure or last[0].value >= right.value or last[0].value < 10:
            return None
        before = rest[-1]
        digit = before.value % 10
        if before.end - before.start != 2 or not 1 <= digit <= 2 or before.value < 21 or before.value > 99:
            return None
        tens = Group(before.start, before.end - 1, before.value - digit, number_text(before.value - digit))
        text = number_text(digit) + last[0].text
        return (*rest[:-1], tens), Operand(before.end - 1, run.end, text, False)

    def _spelled(self, run: Run) -> bool:
        """Both sides digit by digit: "eight eight over five two"."""
        if len(run.groups) != 2 or not all(group.value < 10 and not group.figure for group in run.groups):
            return False
        place = self.sign("over", run.end)
        right = self.group(place) if place is not None else None
        after = self.group(right.end) if right is not None else None
        digits = right is not None and after is not None and not right.figure and right.value < 10 and after.value < 10
        return digits and run.groups[0].value > 0

    def first_operand(self, place: int, spelled: bool = False) -> Operand | None:
        """The amount that begins at ``place``; with ``spelled`` two single digits are one ("eight two")."""
        run = self.run(place)
        if run is None:
            return None
        parts = split(run.groups) if run.groups else ()
        if not parts:
            return Operand(place, run.end, f"0.{run.digits}", False)
        first = parts[0]
        if spelled and len(parts) > 1 and len(first) == 1 and 0 < first[0].value < 10 and len(parts[1]) == 1:
            second = parts[1][0]
            if second.value < 10 and not first[0].figure:
                return Operand(place, second.end, first[0].text + second.text, False)
        if len(parts) == 1:
            text = (
                f"{whole(first) or '0'}.{run.digits}"
                if run.digits and not run.weak_point
                else with_tail(whole(first) or first[-1].text, run.tail)
            )
            end = first[-1].end if run.weak_point else run.end
            return Operand(place, end, text, run.figure)
        return Operand(place, first[-1].end, whole(first) or first[-1].text, first[0].figure)

    def unit(self, place: int, figure: bool) -> tuple[int, str] | None:
        """The end and UCUM code of a unit at ``place``."""
        if self.word(place) == "-" and self.attached(place):
            place += 1
        found = self.tables.units.at(self.words, place)
        if found is None:
            return None
        end, (unit, weak) = found
        if weak and not self._weak_unit(place, end, figure):
            return None
        if unit.code == "[in_i]" and self.word(place) == '"' and not self.attached(place):
            return None
        while self.word(end) in ("old", "'") and unit.kind == "time":
            end += 1
        return end, unit.code

    def _weak_unit(self, place: int, end: int, figure: bool) -> bool:
        after = self.word(end)
        if not figure or after in ("is", "are", ":", "="):
            return False
        if self.word(place) == "in":
            return after not in _NOT_INCHES and not after.isdecimal()
        if after and is_figure(after) and not self.attached(place):
            return self.word(place) in ("f", "c")
        return True

    # -- two amounts ---------------------------------------------------------------------------

    def pair(self, left: Operand) -> Found | None:
        """ "one twenty over eighty", "120/80", "five out of five", "20/40", "88 palp", "3/14/26"."""
        end = left.end
        mark = ""
        signed = self.sign("plus", end) or (
            self.sign("minus", end) if self.word(end) != "-" or self.attached(end) else None
        )
        if signed is not None and left.value <= 6 and self._joins(signed):
            mark = "+" if self.sign("plus", end) else "-"
            end = signed
        share = self.role(end)
        if share[0] == "share" and left.value <= share[1]:
            return end + 1, (Reading("score", f"{left.text}/{number_text(share[1])}", (left.value, share[1])),)
        out_of = self.sign("out_of", end)
        over = self.sign("over", end)
        if left.value >= 40 and not mark:
            palpated = self.sign("palpation", over if over is not None else end)
            if palpated is not None and (over is not None or self.word(end) not in ("p", "palpable")):
                return palpated, (Reading("pair", f"{left.text}/P", (left.value,), "mm[Hg]"),)
        place = out_of if out_of is not None else over
        right = self.first_operand(place, spelled=left.value >= 60) if place is not None else None
        if right is None or place is None:
            return None
        if self.words[end:place] == ("of",) and not (
            left.value <= right.value and right.value in _DENOMINATORS and left.small
        ):
            return None
        if self.words[end] == "on" and not self._pressure_on(left, right):
            return None
        return self._over(left, right, mark, out_of is not None)

    def _joins(self, place: int) -> bool:
        return self.sign("over", place) is not None or self.sign("out_of", place) is not None

    def _pressure_on(self, left: Operand, right: Operand) -> bool:
        """British "one twenty on eighty"; not "ninety eight on two litres" nor "on forty percent"."""
        if not (left.value >= 60 and 20 <= right.value < left.value and left.value < 300):
            return False
        unit = self.unit(right.end, right.figure)
        return unit is None or unit[1] == "mm[Hg]"

    def _over(self, left: Operand, right: Operand, mark: str, out_of: bool) -> Found:
        end = right.end
        if (
            self.word(end) == "/"
            and left.figure
            and self.first_operand(end + 1)
            and left.value <= 31
            and right.value <= 31
        ):
            year = self.first_operand(end + 1)
            assert year is not None
            return year.end, (
                Reading("date", f"{left.text}/{right.text}/{year.text}", (left.value, right.value, year.value)),
            )
        text = f"{left.text}{mark}/{right.text}"
        numbers = (left.value, right.value)
        readings: list[Reading] = []
        if mark == "+" and right.value in (3, 4):
            readings.append(Reading("grade", f"{left.text}+", numbers))
            end = self.sign("plus", end) or end
        if out_of or mark or (left.value <= right.value and right.value in _DENOMINATORS):
            readings.append(Reading("score", text, numbers))
        if not out_of and not mark:
            if left.value in (20, 6) and right.value <= 800:
                usual = left.value == 20 and right.value % 5 == 0
                readings.insert(0 if usual else len(readings), Reading("acuity", text, numbers))
            if left.value > right.value or not readings:
                readings.append(Reading("pair", text, numbers))
            if left.small and right.small:
                readings.append(Reading("ratio", f"{left.text}:{right.text}", numbers))
        unit = self.unit(end, right.figure)
        if unit is not None and unit[1] == "mm[Hg]":
            return unit[0], tuple(replace(r, unit=unit[1]) for r in readings if r.shape == "pair") or tuple(readings)
        return end, tuple(readings)

    def size(self, left: Operand) -> Found | None:
        """ "two by three by point five (centimetres)", "2 x 3 cm", "2cm x 3cm"."""
        numbers, end, code = [left], left.end, None
        if self._counted(left):
            return None
        while len(numbers) < 3:
            unit = self.unit(end, numbers[-1].figure)
            place = self.sign("by", unit[0] if unit else end)
            right = self.first_operand(place) if place is not None else None
            if right is None:
                break
            code = unit[1] if unit else code
            numbers.append(right)
            end = right.end
        if len(numbers) == 1:
            return None
        unit = self.unit(end, numbers[-1].figure)
        if unit is not None:
            end, code = unit
        text = "x".join(number.text for number in numbers)
        return end, (Reading("size", text, tuple(number.value for number in numbers), code),)

    def _counted(self, left: Operand) -> bool:
        """Whether the second number tells how often: "voided 250 x 2" is no size."""
        place = self.sign("by", left.end)
        right = self.first_operand(place) if place is not None else None
        if right is None or not left.value >= 50 > 5 * right.value or self.sign("by", right.end) is not None:
            return False
        return self.unit(right.end, right.figure) is None

    def range(self, left: Operand) -> Found | None:
        """ "two to three", "18-20", "two to three over six", "one to two plus", "3 to 2 mm"."""
        first = self.unit(left.end, left.figure)
        end = first[0] if first and self.sign("to", first[0]) else left.end
        place = self.sign("to", end)
        if place is None and self.word(end) == "and" and self.word(left.start - 1) == "between":
            place = end + 1
        right = self.first_operand(place) if place is not None else None
        if right is None or place is None:
            return None
        if (pairs := self._range_of_pairs(left, right)) is not None:
            return pairs
        if not self._is_range(left, right, place):
            return None
        text, numbers = f"{left.text}-{right.text}", (left.value, right.value)
        over = self.sign("over", right.end) or self.sign("out_of", right.end)
        of = self.first_operand(over) if over is not None and right.small else None
        if of is not None and of.value in _DENOMINATORS:
            return of.end, (Reading("score", f"{text}/{of.text}", (*numbers, of.value)),)
        plus = self.sign("plus", right.end)
        if plus is not None and right.small:
            return plus, (Reading("grade", f"{text}+", numbers),)
        hours = self.sign("oclock", right.end)
        if hours is not None:
            return hours, (Reading("clock_position", f"{text} o'clock", numbers),)
        unit = self.unit(right.end, right.figure)
        code = unit[1] if unit else (first[1] if first else None)
        readings = [Reading("range", text, numbers, code)]
        if left.small and right.small and unit is None:
            readings.append(Reading("ratio", f"{left.text}:{right.text}", numbers))
        return (unit[0] if unit else right.end), tuple(readings)

    def _range_of_pairs(self, left: Operand, right: Operand) -> Found | None:
        """ "120-130/70-80", "one thirty to one forty over seventy to eighty"."""
        over = self.sign("over", right.end)
        low = self.first_operand(over) if over is not None and right.value > 40 else None
        to = self.sign("to", low.end) if low is not None else None
        high = self.first_operand(to) if to is not None else None
        if low is None or high is None or not (left.value < right.value and low.value < high.value <= right.value):
            return None
        text = f"{left.text}-{right.text}/{low.text}-{high.text}"
        return high.end, (Reading("pair", text, (left.value, right.value, low.value, high.value)),)

    def _is_range(self, left: Operand, right: Operand, place: int) -> bool:
        if self.sign("over", right.end) is not None and right.value > 30:
            return False
        dash = self.word(place - 1) in ("-", "–", "—")
        if dash and not left.figure:
            return False
        return left.value < right.value or max(left.value, right.value) <= 15 or self.word(left.start - 1) == "from"

    # -- one amount and what stands beside it -----------------------------------------------------

    def grade(self, left: Operand) -> Found | None:
        """ "two plus", "2+", "4-", "one plus to two plus"."""
        if not left.small or left.value > 6:
            return None
        plus = self.sign("plus", left.end)
        if plus is not None:
            place = self.sign("to", plus) or (plus + 1 if self.word(plus) == "-" else None)
            right = self.first_operand(place) if place is not None else None
            if right is not None and right.small and (end := self.sign("plus", right.end)) is not None:
                return end, (Reading("grade", f"{left.text}-{right.text}+", (left.value, right.value)),)
            return plus, (Reading("grade", f"{left.text}+", (left.value,)),)
        minus = self.sign("minus", left.end)
        if minus is None or left.value > 5 or self.word(left.end) == "negative":
            return None
        after = self.word(minus)
        if self.word(left.end) == "-" and (
            not self.attached(left.end) or (after and self.attached(minus) and after.isalnum())
        ):
            return None
        return minus, (Reading("grade", f"{left.text}-", (left.value,)),)

    def clock_time(self, left: Operand, run: Run) -> Found | None:
        """ "08:15", "two thirty p m", "8 am", "three o'clock", "fourteen thirty two hours"."""
        oclock = self.sign("oclock", left.end)
        if oclock is not None and 1 <= left.value <= 12:
            hour = int(left.value)
            return self._half_of_day(
                oclock, (Reading("clock_position", f"{left.text} o'clock", (left.value,)), clock(hour, 0))
            )
        if left.figure and self.word(left.end) == ":" and is_figure(self.word(left.end + 1)):
            minute = self.word(left.end + 1)
            if len(minute) == 2 and minute.isdecimal() and left.value < 24 and int(minute) < 60:
                return self._half_of_day(left.end + 2, (clock(int(left.value), int(minute)),))
            if left.small:
                return left.end + 2, (Reading("ratio", f"{left.text}:{minute}", (left.value, float(minute))),)
        times = tuple(reading for reading in amounts(run) if reading.shape == "clock")
        half = self.sign("am", run.end) or self.sign("pm", run.end)
        if half is not None and left.value <= 12 and not times:
            times = (clock(int(left.value), 0),)
        if half is not None and times:
            return self._half_of_day(run.end, times)
        if times and self.word(run.end) in ("hours", "hrs"):
            return run.end + 1, times
        return None

    def _half_of_day(self, end: int, readings: tuple[Reading, ...]) -> Found:
        morning, evening = self.sign("am", end), self.sign("pm", end)
        if morning is None and evening is None:
            return end, readings
        fixed = []
        for reading in readings:
            if reading.shape == "clock":
                hour = int(reading.numbers[0]) % 12 + (12 if evening else 0)
                fixed.append(clock(hour, int(reading.numbers[1])))
        return evening or morning or end, tuple(fixed)

    def two_units(self, left: Operand) -> Found | None:
        """ "five foot nine and a half", 5'9", "eleven stone four", "seven pounds eight ounces"."""
        found = self.unit(left.end, left.figure)
        if found is None or found[1] not in ("[ft_i]", "[stone_av]", "[lb_av]"):
            return None
        end, code = found
        place = end + 1 if self.word(end) in (",", "and") else end
        right = self.first_operand(place)
        part = self.unit(right.end, right.figure) if right else None
        if right is None or self._claimed(right.end - 1):
            return None
        numbers = (left.value, right.value)
        if code == "[ft_i]" and right.value < 12 and left.value <= 8 and (part is None or part[1] == "[in_i]"):
            end = part[0] if part else self._second_mark(right.end)
            return end, (Reading("height", f"{left.text}'{right.text}\"", numbers, "[in_i]"),)
        if code == "[stone_av]" and right.value < 14 and (part is None or part[1] == "[lb_av]"):
            return (part[0] if part else right.end), (
                Reading("stones", f"{left.text} st {right.text} lb", numbers, code),
            )
        if code == "[lb_av]" and part is not None and part[1] == "[oz_av]":
            return part[0], (Reading("pounds_ounces", f"{left.text} lb {right.text} oz", numbers, code),)
        return None

    def _second_mark(self, end: int) -> int:
        return end + 2 if self.words[end : end + 2] == ("'", "'") else end

    def date(self, left: Operand) -> Found | None:
        """ "14 march", "march 14"."""
        if not 1 <= left.value <= 31 or left.value != int(left.value):
            return None
        after = left.end + 1 if self.word(left.end) == "of" else left.end
        month = self.tables.months.get(self.word(after))
        if month and self.word(after) not in ("may", "mar"):
            return after + 1, (Reading("date", f"{left.text} {self.word(after)}", (left.value, float(month))),)
        return None
