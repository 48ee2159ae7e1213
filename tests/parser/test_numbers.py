"""Number expressions: tables of ways of saying them, and any number said any way reads back.

The outside reference for saying numbers is num2words (British "one hundred and four"); American and
dictated ways are made from it here.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from num2words import num2words  # type: ignore[import-untyped]

from lexicon import load
from parser.components.numbers import find_numbers, separate
from parser.layers import Number
from parser.tokens import tokenise

TABLE = Path(__file__).parent / "data" / "numbers.txt"


def rows(path: Path) -> list[tuple[str, str]]:
    lines = (line.rstrip("\n") for line in path.read_text(encoding="utf-8").splitlines())
    return [tuple(part.strip() for part in line.rsplit("->", 1)) for line in lines if line and not line.startswith("#")]  # type: ignore[misc]


def numbers_in(text: str) -> tuple[Number, ...]:
    return find_numbers(tokenise(text), load())


def written(number: Number) -> str:
    readings = " | ".join(f"{reading.shape}:{reading.text.replace(' ', '_')}" for reading in number.readings)
    return f"{readings} {number.readings[0].unit}" if number.readings[0].unit else readings


def texts(text: str) -> list[str]:
    return [number.readings[0].text for number in numbers_in(text)]


@pytest.mark.parametrize(("said", "expected"), rows(TABLE))
def test_table(said: str, expected: str) -> None:
    assert " ; ".join(written(number) for number in numbers_in(said)) == expected


# -- any number, said any way ------------------------------------------------------------------


def british(value: int) -> str:
    return str(num2words(value, lang="en_GB")).replace(",", "").replace("-", " ")


def american(value: int) -> str:
    return british(value).replace(" and ", " ")


def digits(value: int) -> str:
    return " ".join(num2words(int(digit)) for digit in str(value))


def short(value: int) -> str:
    """The hundreds left out: 128 "one twenty eight", 105 "one oh five"."""
    if 101 <= value < 1000 and value % 100:
        tail = value % 100
        return f"{num2words(value // 100)} {'oh ' + num2words(tail) if tail < 10 else american(tail)}"
    return american(value)


WAYS = (british, american, short)


def tenths(value: int, way: object, point: str) -> str:
    assert callable(way)
    return f"{way(value // 10)} {point} {num2words(value % 10)}".replace("  ", " ")


@given(st.integers(0, 99_999), st.sampled_from((british, american)))
def test_whole_numbers(value: int, way: object) -> None:
    assert callable(way)
    assert texts(way(value)) == [str(value)]


@given(st.integers(100, 999), st.sampled_from((*WAYS, digits)))
def test_three_figures(value: int, way: object) -> None:
    assert callable(way)
    assert texts(way(value)) == [str(value)]


@given(st.integers(0, 9999), st.sampled_from(WAYS[:2]), st.sampled_from(("point", "dot")))
def test_decimals(value: int, way: object, point: str) -> None:
    assert texts(tenths(value, way, point)) == [f"{value // 10}.{value % 10}"]


@given(st.integers(350, 420), st.sampled_from(("point", "")))
def test_celsius_with_or_without_the_point(value: int, point: str) -> None:
    if not point and value // 10 == 40:
        return  # "forty one" is 41
    said = tenths(value, american, point) if value % 10 or point else american(value // 10)
    expected = f"{value // 10}.{value % 10}" if value % 10 or point else str(value // 10)
    assert expected in [reading.text for reading in numbers_in(said)[0].readings]


@given(st.integers(940, 1080), st.sampled_from((american, short)))
def test_fahrenheit_without_the_point(value: int, way: object) -> None:
    if value % 10 == 0 or value // 10 == 100:
        return
    said = tenths(value, way, "")
    assert f"{value // 10}.{value % 10}" in [
        reading.text for number in numbers_in(said) for reading in number.readings
    ] or (way is american and value // 10 > 100)  # "one hundred one four" is said with the point


@given(
    st.integers(60, 260),
    st.integers(30, 140),
    st.sampled_from((*WAYS, digits)),
    st.sampled_from(("over", "on", "slash")),
)
def test_pressures(systolic: int, diastolic: int, way: object, join: str) -> None:
    assert callable(way)
    if diastolic >= systolic:
        return
    right = digits(diastolic) if way is digits else way(diastolic)
    assert texts(f"{way(systolic)} {join} {right}") == [f"{systolic}/{diastolic}"]


@given(st.integers(60, 260), st.integers(30, 140))
def test_figures_read_as_words_do(systolic: int, diastolic: int) -> None:
    assert texts(f"BP {systolic}/{diastolic} now") == [f"{systolic}/{diastolic}"]


@given(st.integers(0, 23), st.integers(1, 59))
def test_times_of_day(hour: int, minute: int) -> None:
    said_hour = ("oh " if hour < 10 else "") + num2words(hour)
    said_minute = ("oh " if minute < 10 else "") + american(minute)
    if hour in (0, 2):
        return  # "oh two" is oxygen
    readings = numbers_in(f"{said_hour} {said_minute}")[0].readings
    assert f"{hour:02d}:{minute:02d}" in [reading.text for reading in readings]
    assert texts(f"{hour:02d}:{minute:02d}") == [f"{hour:02d}:{minute:02d}"]


@given(st.lists(st.integers(1, 99), min_size=2, max_size=3))
def test_sizes(values: list[int]) -> None:
    assert texts(" by ".join(american(value) for value in values) + " centimeters") == ["x".join(map(str, values))]


@given(st.integers(4, 7), st.integers(0, 11))
def test_heights(feet: int, inches: int) -> None:
    expected = f"{feet}'{inches}\""
    for said in (f"{num2words(feet)} foot {num2words(inches)}", f"{feet}'{inches}\"", f"{feet} ft {inches} in"):
        assert texts(said) == [expected], said


@given(st.integers(0, 4), st.sampled_from(("{} plus", "plus {}", "{}+", "+{}")))
def test_grades(grade: int, way: str) -> None:
    said = num2words(grade) if "plus" in way else str(grade)
    assert texts(way.format(said)) == [f"{grade}+"]


# -- properties of any text ----------------------------------------------------------------------

_WORDS = st.sampled_from(
    [
        "one",
        "two",
        "three",
        "oh",
        "zero",
        "twenty",
        "ninety",
        "eight",
        "hundred",
        "and",
        "a",
        "point",
        "half",
        "over",
        "by",
        "to",
        "plus",
        "minus",
        "times",
        "x",
        "out",
        "of",
        "o'clock",
        "stage",
        "percent",
        "degrees",
        "98.6",
        "120",
        "/",
        "-",
        ".",
        ",",
        "+",
        "<",
        ":",
        "'",
        '"',
        "e",
        "v",
        "m",
        "4",
        "the",
        "pulse",
        "is",
        "less",
        "than",
        "or",
        "more",
        "quarter",
        "past",
        "am",
        "foot",
        "inches",
        "stone",
    ]
)


@given(st.lists(_WORDS, max_size=14))
@settings(max_examples=300)
def test_any_row_of_words(words: list[str]) -> None:
    text = " ".join(words)
    tokens = tokenise(text)
    found = find_numbers(tokens, load())
    end = 0
    for number in found:
        assert end <= number.start < number.end <= len(tokens)
        assert number.readings
        end = number.end
        for part in separate(tokens, number, load()):
            assert number.start <= part.start < part.end <= number.end


@given(st.text(max_size=40))
def test_any_text(text: str) -> None:
    find_numbers(tokenise(text), load())


@given(st.integers(100, 999))
def test_what_follows_changes_nothing_before(value: int) -> None:
    alone = numbers_in(f"heart rate {short(value)}")
    assert numbers_in(f"heart rate {short(value)} and the abdomen is soft")[:1] == alone


def test_no_numbers_no_work() -> None:
    assert numbers_in("lungs clear no wheeze") == ()
