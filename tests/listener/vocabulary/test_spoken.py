"""Numbers and written forms as they are said aloud; num2words is the oracle for counting."""

from __future__ import annotations

import random

import pytest
from num2words import num2words

from listener.vocabulary.spoken import Unspeakable, counted, decimal, ordinal, whole, words_of_form
from listener.vocabulary.values import Range, spoken_value


def plainly(text: str) -> str:
    return text.replace("-", " ").replace(",", "").replace(" and ", " ")


@pytest.mark.parametrize("number", [*range(0, 131), 200, 212, 999, 1000, 1050, 2345, 12000])
def test_counting_agrees_with_num2words(number: int) -> None:
    assert " ".join(counted(number)) == plainly(num2words(number))


@pytest.mark.parametrize("number", range(1, 100))
def test_ordinals_agree_with_num2words(number: int) -> None:
    assert ordinal(number) == plainly(num2words(number, to="ordinal"))


def test_the_ways_of_saying_a_pressure() -> None:
    said = {whole(128, random.Random(seed)) for seed in range(400)}
    assert {"one twenty eight", "one hundred twenty eight", "one hundred and twenty eight", "one two eight",
            "a hundred twenty eight"} <= said
    assert {"one oh four", "one hundred four", "one zero four"} <= {whole(104, random.Random(s)) for s in range(400)}


def test_the_ways_of_saying_a_temperature() -> None:
    said = {decimal(986, random.Random(seed)) for seed in range(400)}
    assert {"ninety eight point six", "ninety eight six"} <= said
    assert {"point five", "zero point five"} <= {decimal(5, random.Random(s)) for s in range(100)}


@pytest.mark.parametrize(
    "shape", ["pair", "grade", "score", "size", "stage", "comparator", "height", "clock", "gcs", "date"]
)
def test_every_shape_is_words_alone(shape: str) -> None:
    for seed in range(50):
        said = spoken_value([shape], Range(0, 5, 1, 4), random.Random(seed))
        assert said.replace("'", "").replace(" ", "").isalpha(), said


KNOWN = {"skin", "palpable", "one", "heart", "edema", "non", "tender"}


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ("S1", "s one"),
        ("2+ edema", "two plus edema"),
        ("non-tender", "non tender"),
        ("RLE", "r l e"),
        ("oedema", "edema"),
        ("50% palpable", "fifty percent palpable"),
        ("Ménière", "meniere"),
        ("heart, skin.", "heart skin"),
        ("120/80", "one hundred twenty over eighty"),
    ],
)
def test_written_forms_are_said(form: str, said: str) -> None:
    assert " ".join(words_of_form(form, KNOWN.__contains__, [("oedema", "edema")])) == said


def test_what_has_no_sound_is_named() -> None:
    with pytest.raises(Unspeakable, match="'β' in 'β wave'"):
        words_of_form("β wave", KNOWN.__contains__)
