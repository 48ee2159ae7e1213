"""Written forms as they are said aloud: figures, marks and abbreviations become words."""

from __future__ import annotations

import random
import re
import unicodedata
from collections.abc import Callable, Iterable

_PIECE = re.compile(r"[a-z]+(?:'[a-z]+)*|\d+|[^\sa-z\d]")
_MARKS = {"+": ("plus",), "%": ("percent",), "°": ("degrees",), "/": ("over",), "&": ("and",), "<": ("less", "than"),
          ">": ("greater", "than"), "=": (), "×": ("by",)}
_SILENT = frozenset("-‐‑–—,;:.!?()[]\"“”*'’`~#_")
_ONES = [
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
]
_TENS = ["zero", "ten", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
_ORDINALS = {"first": 1, "second": 2, "third": 3, "fifth": 5, "eighth": 8, "ninth": 9, "twelfth": 12}
_LONGEST_ABBREVIATION = 5


class Unspeakable(ValueError):
    """A form holds something that no one can say; the message names it."""


def words_of_form(
    form: str, is_word: Callable[[str], bool], respelt: Iterable[tuple[str, str]] = ()
) -> tuple[str, ...]:
    """The words in which ``form`` is said; ``respelt`` gives (British, American) letters.

    A short piece that ``is_word`` does not know is an abbreviation and said letter by letter.
    Raises :class:`Unspeakable` for letters and signs that have no sound.
    """
    said: list[str] = []
    for piece in _PIECE.findall(plain(form, respelt)):
        if piece.isdigit():
            said.extend(counted(int(piece)) if len(piece) < 4 else map(_digit, piece))
        elif piece[0].isascii() and piece[0].isalpha():
            said.extend((piece,) if is_word(piece) or not _abbreviated(piece) else piece.replace("'", ""))
        elif piece in _MARKS:
            said.extend(_MARKS[piece])
        elif piece not in _SILENT:
            raise Unspeakable(f"'{piece}' in '{form}' cannot be said aloud; write it in letters, as it sounds")
    return tuple(said)


def _abbreviated(piece: str) -> bool:
    """Short, or of consonants: "rle", "dnacpr"."""
    vowels = sum(letter in "aeiouy" for letter in piece)
    return len(piece) <= _LONGEST_ABBREVIATION or vowels < 0.2 * len(piece)


def plain(form: str, respelt: Iterable[tuple[str, str]] = ()) -> str:
    """Lower case, without accents, in American spelling."""
    flat = unicodedata.normalize("NFKD", form.lower().replace("’", "'"))
    text = "".join(letter for letter in flat if not unicodedata.combining(letter))
    for british, american in respelt:
        if british in text:
            text = text.replace(british, american)
    return text


def _digit(figure: str) -> str:
    return _ONES[int(figure)]


def counted(number: int) -> list[str]:
    """A whole number below a million as counted: 128 -> one hundred twenty eight."""
    if number >= 1000:
        rest = number % 1000
        return [*counted(number // 1000), "thousand", *(counted(rest) if rest else ())]
    if number >= 100:
        rest = number % 100
        return [_ONES[number // 100], "hundred", *(counted(rest) if rest else ())]
    if number < 20:
        return [_ONES[number]]
    return [_TENS[number // 10], *([_ONES[number % 10]] if number % 10 else ())]


def whole(number: int, rng: random.Random) -> str:
    """A whole number in one of the ways it is said in dictation: "one twenty eight", "one oh four"."""
    if number < 0:
        return f"{rng.choice(['minus', 'negative'])} {whole(-number, rng)}"
    if 100 <= number < 1000 and rng.random() < 0.62:
        return " ".join(_by_hundreds(number, rng))
    if 100 <= number < 200 and rng.random() < 0.15:
        return " ".join(["a", *counted(number)[1:]])
    words = counted(number)
    if number > 100 and number % 100 and rng.random() < 0.4:
        words.insert(words.index("hundred") + 1 if "hundred" in words else 2, "and")
    if number >= 10 and rng.random() < 0.03:
        words = [_digit(figure) for figure in str(number)]
    if number == 0 and rng.random() < 0.1:
        return "oh"
    return " ".join(words)


def _by_hundreds(number: int, rng: random.Random) -> list[str]:
    head, rest = divmod(number, 100)
    if rest == 0:
        return [_ONES[head], "hundred"]
    if rest < 10:
        return [_ONES[head], rng.choice(["oh", "oh", "oh", "zero"]), _ONES[rest]]
    if rng.random() < 0.08:
        return [_digit(figure) for figure in str(number)]
    return [_ONES[head], *counted(rest)]


def decimal(tenths: int, rng: random.Random) -> str:
    """A number of tenths: 986 -> "ninety eight point six", now and then "ninety eight six"."""
    head, tail = divmod(tenths, 10)
    if head == 0:
        return " ".join(([rng.choice(["zero", "oh"])] if rng.random() < 0.5 else []) + ["point", _ONES[tail]])
    point = [] if head >= 34 and tail and rng.random() < 0.12 else ["point"]
    end = rng.choice(["zero", "oh"]) if tail == 0 else _ONES[tail]
    return " ".join([whole(head, rng), *point, end])


def ordinal(number: int) -> str:
    """fifth, twenty first (1 to 99)."""
    words = counted(number)
    for name, value in _ORDINALS.items():
        if _ONES[value] == words[-1]:
            return " ".join([*words[:-1], name])
    last = words[-1]
    return " ".join([*words[:-1], last[:-1] + "ieth" if last.endswith("y") else last + "th"])
