"""Values as they are dictated, by shape of number: "one twenty over eighty", "two plus", "three by two"."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from listener.vocabulary.spoken import decimal, ordinal, whole


@dataclass(frozen=True)
class Range:
    """What a value may be: bounds, and of a pair the bounds of its second part."""

    least: float
    most: float
    least2: float = 0
    most2: float = 0
    out_of: int | None = None

    def integer(self, rng: random.Random) -> int:
        """A whole number within the bounds, low ones likelier when the bounds are far apart."""
        low, high = int(self.least), int(self.most)
        if high - low > 400:
            high = low + int((high - low) * rng.random() ** 3)
        return rng.randint(low, max(low, high))


def spoken_value(shapes: Sequence[str], limits: Range, rng: random.Random) -> str:
    """A value in one of ``shapes``, the first likeliest. An unknown shape is said as a whole number."""
    known = [shape for shape in shapes if shape in _SAY] or ["integer"]
    shape = known[0] if rng.random() < 0.6 else rng.choice(known)
    return _SAY[shape](limits, rng)


def _integer(limits: Range, rng: random.Random) -> str:
    return whole(limits.integer(rng), rng)


def _decimal(limits: Range, rng: random.Random) -> str:
    low, high = int(max(0, limits.least) * 10), int(min(limits.most, limits.least + 120) * 10)
    return decimal(rng.randint(low, max(low, high)), rng)


def _pair(limits: Range, rng: random.Random) -> str:
    second = Range(limits.least2 or limits.least, limits.most2 or limits.most)
    word = "on" if rng.random() < 0.15 else "over"
    return f"{_integer(limits, rng)} {word} {_integer(second, rng)}"


def _score(limits: Range, rng: random.Random) -> str:
    top = limits.out_of or int(limits.most)
    got = rng.randint(int(limits.least), top)
    return f"{whole(got, rng)} {rng.choice(['out of', 'out of', 'out of', 'of', 'over'])} {whole(top, rng)}"


def _grade(limits: Range, rng: random.Random) -> str:
    grade = rng.randint(int(limits.least), int(limits.most))
    if grade and rng.random() < 0.06:
        return f"plus {whole(grade, rng)}"
    if 0 < grade < limits.most and rng.random() < 0.06:
        return f"{whole(grade, rng)} to {whole(grade + 1, rng)} plus"
    return f"{whole(grade, rng)} plus"


def _size(limits: Range, rng: random.Random) -> str:
    count = 3 if rng.random() < 0.35 else 2
    return " by ".join(_small(rng) for _ in range(count)) + rng.choice(["", *_LENGTHS])


_LENGTHS = (" centimeters", " centimeters", " centimeters", " millimeters", " inches")


def _small(rng: random.Random) -> str:
    return whole(rng.randint(1, 12), rng) if rng.random() < 0.6 else decimal(rng.randint(1, 99), rng)


def _range(limits: Range, rng: random.Random) -> str:
    low = limits.integer(rng)
    high = min(int(limits.most), low + rng.choice([1, 1, 2, 5, 10]))
    return f"{whole(low, rng)} to {whole(high, rng)}"


def _comparator(limits: Range, rng: random.Random) -> str:
    words = ["less than", "less than", "less than", "greater than", "more than", "under", "over", "about", "at least"]
    return f"{rng.choice(words)} {_integer(limits, rng)}"


def _times(limits: Range, rng: random.Random) -> str:
    return f"{rng.choice(['times', 'times', 'times', 'by'])} {whole(rng.randint(1, 4), rng)}"


def _clock(limits: Range, rng: random.Random) -> str:
    hour, minute = rng.randint(1, 12), rng.choice([0, 15, 20, 30, 45, 50])
    if not minute:
        end = rng.choice(["o'clock", "hundred hours", "a m", "p m"])
        return f"{whole(hour, rng)} {end}"
    return f"{whole(hour, rng)} {whole(minute, rng)}"


def _clock_position(limits: Range, rng: random.Random) -> str:
    return f"{whole(rng.randint(1, 12), rng)} o'clock"


def _ordinal(limits: Range, rng: random.Random) -> str:
    return ordinal(rng.randint(1, 10))


def _height(limits: Range, rng: random.Random) -> str:
    inches = rng.randint(0, 11)
    foot = rng.choice(["foot", "foot", "feet"])
    end = rng.choice(["", " inches"])
    return f"{whole(rng.randint(4, 6), rng)} {foot}" + (f" {whole(inches, rng)}{end}" if inches else "")


def _stones(limits: Range, rng: random.Random) -> str:
    pounds = rng.randint(0, 13)
    return f"{whole(rng.randint(6, 20), rng)} stone" + (f" {whole(pounds, rng)}" if pounds else "")


def _pounds_ounces(limits: Range, rng: random.Random) -> str:
    return f"{whole(rng.randint(4, 14), rng)} pounds {whole(rng.randint(1, 15), rng)} ounces"


def _staged(limits: Range, rng: random.Random) -> str:
    words = ["stage", "stage", "stage", "grade", "grade", "type", "class", "category"]
    return f"{rng.choice(words)} {whole(rng.randint(max(1, int(limits.least)), max(1, min(9, int(limits.most)))), rng)}"


def _acuity(limits: Range, rng: random.Random) -> str:
    far = rng.choice([15, 20, 25, 30, 40, 50, 60, 70, 100, 200])
    if rng.random() < 0.2:
        return f"six over {whole(rng.choice([5, 6, 9, 12, 18, 24, 36, 60]), rng)}"
    return f"twenty {rng.choice(['over', 'over', ''])} {whole(far, rng)}"


def _coma(limits: Range, rng: random.Random) -> str:
    eyes, voice, motor = rng.randint(1, 4), rng.randint(1, 5), rng.randint(1, 6)
    if rng.random() < 0.3:
        return f"e {whole(eyes, rng)} v {whole(voice, rng)} m {whole(motor, rng)}"
    return f"eyes {whole(eyes, rng)} verbal {whole(voice, rng)} motor {whole(motor, rng)}"


def _signed(limits: Range, rng: random.Random) -> str:
    return f"{rng.choice(['plus', 'minus', 'negative'])} {whole(rng.randint(1, 5), rng)}"


def _decade(limits: Range, rng: random.Random) -> str:
    tens = rng.choice(["twenties", "thirties", "forties", "fifties", "sixties", "seventies", "eighties", "nineties"])
    return f"in the {rng.choice(['', 'low', 'mid', 'high', 'one'])} {tens}"


def _ratio(limits: Range, rng: random.Random) -> str:
    return f"{whole(rng.randint(1, 2), rng)} to {whole(rng.randint(1, 3), rng)}"


def _ago(limits: Range, rng: random.Random) -> str:
    unit = rng.choice(["hours", "days", "days", "weeks", "months", "years", "minutes"])
    return f"{whole(rng.randint(2, 12), rng)} {unit} ago"


def _date(limits: Range, rng: random.Random) -> str:
    months = [
        "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
        "december",
    ]
    return f"{rng.choice(months)} {ordinal(rng.randint(1, 31))}"


_SAY: Mapping[str, Callable[[Range, random.Random], str]] = {
    "integer": _integer, "decimal": _decimal, "pair": _pair, "score": _score, "grade": _grade, "size": _size,
    "range": _range, "comparator": _comparator, "times": _times, "clock": _clock, "clock_position": _clock_position,
    "ordinal": _ordinal, "height": _height, "stones": _stones, "pounds_ounces": _pounds_ounces, "stage": _staged,
    "acuity": _acuity, "gcs": _coma, "signed": _signed, "decade": _decade, "ratio": _ratio, "ago": _ago, "date": _date,
}
