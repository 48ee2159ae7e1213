"""Doubt about key words: what raises it, what it says, and what it leaves alone."""

from __future__ import annotations

import pytest

import lexicon
from listener.doubt import STANDARD, DoubtingRestorer, KeyWords, Room, doubted, too_noisy
from listener.vocabulary import Restorer, Way
from parser.transcript import Word


@pytest.fixture(scope="module")
def keys() -> KeyWords:
    return KeyWords.of(lexicon.load())


def word(text: str, confidence: float | None = 1.0, start: float = 0.0) -> Word:
    return Word(text, text, start, start + 0.4, confidence)


@pytest.mark.parametrize(
    ("text", "kind"),
    [("eighty", "number"), ("point", "number"), ("plus", "number"), ("left", "side"), ("bilaterally", "side"),
     ("no", "negative"), ("without", "negative"), ("percent", "unit"), ("celsius", "unit"), ("skin", None),
     ("o", None)],
)
def test_key_words_have_kinds(keys: KeyWords, text: str, kind: str | None) -> None:
    assert keys.kind(text) == kind


@pytest.mark.parametrize(
    ("heard", "doubt"),
    [
        (word("eighty", 0.5), "'eighty' was not heard clearly"),
        (word("eighty", 1.0), None),
        (word("skin", 0.1), None),
        (word("left", 0.3), "'left' was not heard clearly"),
        (word("eighty", None), None),
    ],
)
def test_weak_confidence_raises_doubt_about_key_words_alone(keys: KeyWords, heard: Word, doubt: str | None) -> None:
    assert doubted((heard,), keys)[0].doubt == doubt


def test_numbers_one_sound_apart_must_be_heard_more_surely(keys: KeyWords) -> None:
    between = (STANDARD.number + STANDARD.twin) / 2
    told = {text: bool(doubted((word(text, between),), keys)[0].doubt)
            for text in ("eighteen", "eighty", "fourteen", "forty", "seven", "hundred", "left")}
    assert told == {"eighteen": True, "eighty": True, "fourteen": True, "forty": True, "seven": False,
                    "hundred": False, "left": False}


def test_a_second_reading_is_named(keys: KeyWords) -> None:
    said = (word("pulse", start=0), word("fifty", start=0.5))
    second = (word("pulse", start=0), word("fifteen", start=0.55))
    assert doubted(said, keys, second)[1].doubt == "heard 'fifty', may be 'fifteen'"
    assert doubted(said, keys, said)[1].doubt is None


def test_a_doubt_that_is_there_stays(keys: KeyWords) -> None:
    already = Word("fifty", "fifty", 0, 1, 0.1, doubt="said twice")
    assert doubted((already,), keys)[0].doubt == "said twice"


def test_words_are_restored_before_they_are_doubted(keys: KeyWords) -> None:
    restorer = DoubtingRestorer(Restorer([Way("bruits", ("brew", "ease"))]), keys)
    words = restorer.restore((word("no", 0.4), word("brew", 0.2), word("ease", 0.2)))
    assert [(w.text, bool(w.doubt)) for w in words] == [("no", True), ("bruits", False)]


def test_a_room_too_noisy_is_told_once_not_word_by_word() -> None:
    assert too_noisy([word("skin", STANDARD.number - 0.1)] * 30)
    assert not too_noisy([word("skin", 1.0)] * 30)
    assert not too_noisy([word("skin", 0.1)] * 5)


def test_in_a_loud_room_only_the_weakest_words_keep_their_doubts(keys: KeyWords) -> None:
    room = Room()
    told = doubted((word("eighty", STANDARD.number - 0.1), word("left", STANDARD.weak - 0.1)), keys)
    assert room.take(told) == told
    assert not room.loud
    room.take((word("skin", 0.2),) * 30)
    assert room.loud
    assert [bool(w.doubt) for w in room.take(told)] == [False, True]


def test_a_loud_room_leaves_doubts_that_name_another_reading(keys: KeyWords) -> None:
    room = Room(loud=True)
    said = doubted((word("fifty", 0.9),), keys, (word("fifteen", 0.9),))
    assert room.take(said)[0].doubt == "heard 'fifty', may be 'fifteen'"
