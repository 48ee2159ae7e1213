"""Spellings become trade words again, with their times; plain words stay."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from listener.vocabulary.mapping import Restorer, Way
from parser.transcript import Word

WAYS = (
    Way("bruits", ("brew", "ease")),
    Way("bruit", ("brew", "e")),
    Way("popliteal", ("popp", "letty", "uhl")),
    Way("pop", ("popp",)),
    Way("picc", ("pick",), after=frozenset({"left"}), before=frozenset({"line"})),
)
RESTORER = Restorer(WAYS)


def heard(text: str) -> tuple[Word, ...]:
    return tuple(Word(w, w, i * 0.5, i * 0.5 + 0.4, 1 - i / 100) for i, w in enumerate(text.split()))


@pytest.mark.parametrize(
    ("said", "restored"),
    [
        ("no carotid brew ease", "no carotid bruits"),
        ("brew ease brew e", "bruits bruit"),
        ("i brew tea with ease", "i brew tea with ease"),
        ("brew", "brew"),
        ("popp letty uhl pulse", "popliteal pulse"),
        ("popp letty pulse", "pop letty pulse"),
        ("pick line flushes", "picc line flushes"),
        ("left pick intact", "left picc intact"),
        ("please pick one", "please pick one"),
        ("", ""),
    ],
)
def test_spellings_become_words(said: str, restored: str) -> None:
    assert " ".join(word.text for word in RESTORER.restore(heard(said))) == restored


def test_a_joined_word_keeps_times_least_confidence_and_what_was_heard() -> None:
    word = RESTORER.restore(heard("no popp letty uhl"))[1]
    assert (word.text, word.heard, word.start, word.end) == ("popliteal", "popp letty uhl", 0.5, 1.9)
    assert word.confidence == pytest.approx(0.97)


def test_words_without_times_are_restored_too() -> None:
    words = (Word("brew", "brew"), Word("ease", "ease"))
    assert RESTORER.restore(words) == (Word("bruits", "brew ease"),)


def test_ways_survive_the_file(tmp_path: Path) -> None:
    RESTORER.save(tmp_path / "ways.json")
    assert Restorer.load(tmp_path / "ways.json").ways == RESTORER.ways


@given(st.lists(st.sampled_from(["brew", "ease", "e", "popp", "letty", "uhl", "no", "pick", "left"]), max_size=12))
def test_nothing_heard_is_lost_or_doubled(said: list[str]) -> None:
    restored = RESTORER.restore(heard(" ".join(said)))
    assert " ".join(word.heard for word in restored).split() == said
