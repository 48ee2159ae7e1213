"""Number expressions that do not begin with an amount: "E4 V5 M6", "fifth", "half past two", "grade III"."""

from __future__ import annotations

from parser.amounts import clock
from parser.expressions import Expressions
from parser.grammar import number_text
from parser.layers import Number, Reading

_ENDINGS = frozenset(("st", "nd", "rd", "th"))
_PARTS_OF_GCS = (("e", "eye", "eyes"), ("v", "verbal", "voice"), ("m", "motor", "movement"))


class SpecialNumbers(Expressions):
    """Reads the expressions that are found by a word of their own."""

    def special(self, place: int) -> Number | None:
        """The expression found at ``place``, or None."""
        return (
            self._roman(place)
            or self._sounds(place)
            or self._trace(place)
            or self._gcs(place)
            or self._decade(place)
            or self._ordinal(place)
            or self._part_of_hour(place)
        )

    def _roman(self, place: int) -> Number | None:
        """ "II/VI", "grade III", "cranial nerves II-XII": letters are numbers only in such company."""
        word, roman = self.word(place), self.tables.roman
        if self.sign("staged", place) == place + 1 and self.word(place + 1) in roman:
            return self._roman_at(place + 1, staged=place)
        return self._roman_at(place, staged=None) if word in roman else None

    def _roman_at(self, place: int, staged: int | None) -> Number | None:
        roman = self.tables.roman
        value, start, end = roman[self.word(place)], place if staged is None else staged, place + 1
        second = roman.get(self.word(end + 1))
        if second is not None and self.word(end) in ("/", "over"):
            return Number(start, end + 2, (Reading("score", f"{value}/{second}", (float(value), float(second))),))
        if second is not None and self.word(end) in ("-", "to", "through") and value < second:
            return Number(start, end + 2, (Reading("range", f"{value}-{second}", (float(value), float(second))),))
        if staged is not None:
            return Number(start, end, (Reading("stage", f"{self.word(staged)} {value}", (float(value),)),))
        first = roman.get(self.word(place - 2)) if place - 2 >= self.floor else None
        if first is not None and self.word(place - 1) == "/":
            return Number(place - 2, end, (Reading("score", f"{first}/{value}", (float(first), float(value))),))
        if self.word(place - 1) in ("nerve", "nerves", "cn"):
            return Number(place, end, (Reading("integer", str(value), (float(value),)),))
        return None

    def _sounds(self, place: int) -> Number | None:
        """Words that sound like numbers, where only a number makes sense: "to plus", "times for"."""
        word, before, after = self.word(place), place - 1, self.word(place + 1)
        if (
            word == "plus"
            and before >= self.floor
            and self.word(before) in self.tables.sounds
            and not self.role(place + 1)[0]
        ):
            value = self.tables.sounds[self.word(before)]
            return Number(before, place + 1, (Reading("grade", f"{number_text(value)}+", (value,)),))
        if word == "times" and after in ("for", "too", "to") and not self.role(place - 1)[0]:
            value = self.tables.sounds[after]
            follows = self.word(place + 2)
            if not follows or follows in (".", ",", ";", "and", "with"):
                return Number(place, place + 2, (Reading("times", f"x{number_text(value)}", (value,)),))
        start = self.sign_before("out_of", place)
        if (
            start is not None
            and self.word(start) == "out"
            and start > self.floor
            and self.word(start - 1) in self.tables.sounds
        ):
            right = self.first_operand(place)
            if right is not None:
                value = self.tables.sounds[self.word(start - 1)]
                text = f"{number_text(value)}/{right.text}"
                return Number(start - 1, right.end, (Reading("score", text, (value, right.value)),))
        return None

    def _trace(self, place: int) -> Number | None:
        if self.word(place) != "trace":
            return None
        end = place + 1
        if self.word(end) == "to" and (right := self.first_operand(end + 1)) is not None:
            plus = self.sign("plus", right.end)
            if plus is not None:
                return Number(place, plus, (Reading("grade", f"trace-{right.text}+", (right.value,)),))
        return Number(place, end, (Reading("grade", "trace", ()),))

    def _gcs(self, place: int) -> Number | None:
        """ "E4 V5 M6", "e four v five m six", "eyes four verbal five motor six"; V may be T."""
        if self.word(place - 1) not in _PARTS_OF_GCS[0] or place - 1 < self.floor:
            return None
        at, texts = place - 1, []
        for names in _PARTS_OF_GCS:
            at += self.word(at) in (",", "and")
            if self.word(at) == "vt" and names[0] == "v":
                texts.append("T")
                at += 1
                continue
            if self.word(at) not in names:
                return None
            at += 1
            figure = self.group(at)
            if figure is not None and figure.value <= 6:
                texts.append(number_text(figure.value))
                at = figure.end
            elif self.word(at) in ("t", "nt"):
                texts.append("T" if self.word(at) == "t" else "NT")
                at += 1
            else:
                return None
        numbers = tuple(float(text) for text in texts if text.isdecimal())
        text = "".join(letter + text for letter, text in zip("EVM", texts, strict=True))
        return Number(place - 1, at, (Reading("gcs", text, numbers),))

    def _decade(self, place: int) -> Number | None:
        """ "in the eighties", "one twenties", "80s"."""
        word = self.word(place)
        hundreds = self.role(place)
        at = place + 1 if hundreds[0] == "unit" and self.word(place + 1).endswith("ties") else place
        word = self.word(at)
        if word.endswith("ties") and (ten := self.tables.role.get(word[:-3] + "y")) is not None and ten[0] == "ten":
            value = ten[1] + (hundreds[1] * 100 if at > place else 0)
            return Number(place, at + 1, (Reading("decade", f"{number_text(value)}s", (value,)),))
        if not word.isdecimal() or int(word) % 10 or int(word) < 20 or not self.attached(place + 1):
            return None
        end = place + 2 if self.word(place + 1) == "s" else place + 3
        if self.word(end - 1) != "s" or (end == place + 3 and self.word(place + 1) != "'"):
            return None
        return Number(place, end, (Reading("decade", f"{word}s", (float(word),)),))

    def _ordinal(self, place: int) -> Number | None:
        """ "fifth", "5th"; and dates: "march fifth", "fifth of march"."""
        role, value = self.role(place)
        end = place + 1
        if role != "ordinal":
            if not (self.word(place).isdecimal() and self.word(end) in _ENDINGS and self.attached(end)):
                return None
            value, end = float(self.word(place)), end + 1
        if self.word(end) == "of" and (month := self.tables.months.get(self.word(end + 1))):
            text = f"{number_text(value)} {self.word(end + 1)}"
            return Number(place, end + 2, (Reading("date", text, (value, float(month))),))
        if place > self.floor and (month := self.tables.months.get(self.word(place - 1))):
            text = f"{number_text(value)} {self.word(place - 1)}"
            return Number(place - 1, end, (Reading("date", text, (value, float(month))),))
        return Number(place, end, (Reading("ordinal", f"{number_text(value)}{_ending(int(value))}", (value,)),))

    def _part_of_hour(self, place: int) -> Number | None:
        """ "half past two", "quarter to three"."""
        for name, hours, minutes in (("half_past", 0, 30), ("quarter_past", 0, 15), ("quarter_to", -1, 45)):
            end = self.sign(name, place)
            hour = self.first_operand(end) if end is not None else None
            if hour is not None and 1 <= hour.value <= 12 and hour.value == int(hour.value):
                shifted = (int(hour.value) + hours) % 24
                end, readings = self._half_of_day(hour.end, (clock(shifted, minutes),))
                return Number(place, end, readings)
        return None


def _ending(value: int) -> str:
    if 10 <= value % 100 <= 20:
        return "th"
    return {1: "st", 2: "nd", 3: "rd"}.get(value % 10, "th")
