"""How words sound: written pronunciations, word parts, letters; and spellings that sound like them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

import lexicon
from lexicon.sounds import Pronouncer, dictionary
from listener.vocabulary.ngrams import Ngrams, Words
from listener.vocabulary.respell import Respeller, difference, distance
from listener.vocabulary.text import _speech


@pytest.fixture(scope="module")
def pronouncer() -> Pronouncer:
    return Pronouncer.of(_speech(lexicon.load()))


@pytest.mark.parametrize(
    ("word", "sounds"),
    [
        ("bruit", "B R UW IY"),  # speech.yaml
        ("skin", "S K IH N"),  # the CMU dictionary
        ("bruised", "B R UW Z D"),
        ("nontender", "N AA N T EH N D ER"),  # beginning and dictionary
        ("hyperactivity", "HH AY P ER AE K T IH V AH T IY"),
        ("gastritis", "G AE S T R AY T IH S"),  # letters and ending
        ("zorbosis", "Z AO R B OW S IH S"),  # letters alone, and an ending
    ],
)
def test_words_sound_right(pronouncer: Pronouncer, word: str, sounds: str) -> None:
    assert min(distance(tuple(sounds.split()), way) for way in pronouncer.ways(word)) <= 0.5


def test_letters_alone_come_near_the_dictionary(pronouncer: Pronouncer) -> None:
    """Every 60th long word of the CMU dictionary, sounded by its letters: at most three phonemes in ten differ."""
    words = [word for word in itertools.islice(dictionary(), 0, None, 60) if word.isalpha() and len(word) > 6]
    wrong = total = 0.0
    for word in words:
        known = dictionary()[word][0]
        wrong += distance(pronouncer._spelled(word)[0], known)
        total += len(known)
    assert wrong / total < 0.3


def test_any_word_of_letters_has_a_sound(pronouncer: Pronouncer) -> None:
    assert all(pronouncer.ways(word) for word in ("zorbule", "qqq", "xyzzy", "mvpt"))


def test_difference_is_a_distance_of_phonemes() -> None:
    assert difference("IY", "IY") == 0
    assert difference("IY", "IH") < difference("IY", "AA")
    assert difference("S", "Z") == difference("Z", "S") < difference("S", "IY")


SAID = {
    "brew": (("B", "R", "UW"),), "ease": (("IY", "Z"),), "breeze": (("B", "R", "IY", "Z"),),
    "pop": (("P", "AA", "P"),), "letty": (("L", "EH", "T", "IY"),), "ul": (("AH", "L"),), "pick": (("P", "IH", "K"),),
}


def respeller(common: str = "") -> Respeller:
    words = Words.of(["<eps>", *SAID])
    unigram = np.zeros(words.size)
    for word in SAID:
        unigram[words.ids[word]] = 0.01 if word == common else 1e-6
    none = np.zeros(0, np.int64)
    model = Ngrams(unigram, np.ones(words.size), none, np.zeros(0), none, np.zeros(0), none, np.zeros(0))
    return Respeller(words, model, SAID)


@pytest.mark.parametrize(
    ("sounds", "pieces"),
    [("B R UW IY Z", ("brew", "ease")), ("P AA P L IH T IY AH L", ("pop", "letty", "ul")), ("P IH K", ("pick",))],
)
def test_the_nearest_spelling_comes_first(sounds: str, pieces: tuple[str, ...]) -> None:
    assert respeller().spellings(tuple(sounds.split()))[0].pieces == pieces


def test_a_spelling_that_people_say_is_not_rare() -> None:
    (best, *_) = respeller(common="pick").spellings(("P", "IH", "K"))
    assert best.pieces == ("pick",)
    assert not best.rare


def test_what_sounds_like_nothing_has_no_spelling() -> None:
    assert respeller().spellings(("HH", "AW", "S", "W", "AY", "F")) == []
