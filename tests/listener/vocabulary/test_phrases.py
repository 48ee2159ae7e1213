"""Dictation written from the lexicon: the same every time, with every form, and faults with file and line."""

from __future__ import annotations

from pathlib import Path

import pytest

import lexicon
from lexicon import Lexicon, LexiconError
from listener.errors import LexiconInvalid
from listener.vocabulary.fillings import Fillings
from listener.vocabulary.ngrams import Words
from listener.vocabulary.phrases import dictation
from listener.vocabulary.text import Reader, written


@pytest.fixture(scope="module")
def known() -> Lexicon:
    return lexicon.load()


@pytest.fixture(scope="module")
def lines(known: Lexicon) -> list[str]:
    return list(dictation(known, 4000))


def pack(folder: Path, name: str, text: str) -> Lexicon:
    (folder / name).parent.mkdir(parents=True, exist_ok=True)
    (folder / name).write_text(text, encoding="utf-8")
    return lexicon.load([folder])


def test_the_same_lexicon_gives_the_same_text(known: Lexicon, lines: list[str]) -> None:
    assert list(dictation(known, 4000)) == lines


def test_every_word_of_every_form_is_said(known: Lexicon, lines: list[str]) -> None:
    said = {word for line in lines for word in line.split()}
    assert not {word for filling in Fillings.of(known).everything for word in filling.text.split()} - said


def test_no_slot_is_left_open(lines: list[str]) -> None:
    assert not [line for line in lines if "{" in line or "}" in line]


def test_a_term_of_a_pack_is_dictated_in_many_ways(tmp_path: Path) -> None:
    terms = "region: neck\nconcepts: [{id: zorbule, label: zorbule, nature: abnormal, forms: [zorbule], source: C}]\n"
    with_pack = pack(tmp_path, "findings/neck.yaml", terms)
    said = {line for line in dictation(with_pack, 4000) if "zorbule" in line.split()}
    assert len(said) >= 5
    assert any(line.startswith("no ") or " no " in line for line in said)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("lists:\n  - {id: loop, ways: ['{noose}']}\n  - {id: noose, ways: ['a {loop}']}\n", "line 2.*uses itself"),
        ("lists:\n  - {id: hollow, ways: ['']}\n", "line 2.*'hollow' is empty"),
        ("shapes:\n  - id: odd\n    say: ['{sitee} warm']\n", r"line 2.*no slot '\{sitee\}'; did you mean '\{site\}'"),
        ("shapes:\n  - id: odd\n    say: ['{number} times']\n", "line 2.*needs bounds"),
        ("shapes:\n  - id: odd\n    say: ['', warm]\n", "line 3.*empty"),
        ("shapes:\n  - id: odd\n    say: ['[warm|cold']\n", "line 3.*brackets do not match"),
        ("shapes:\n  - id: odd\n    say: ['{site warm']\n", "line 3.*braces do not match"),
    ],
)
def test_faulty_phrases_are_told_with_their_line(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(LexiconError, match=told):
        pack(tmp_path, "phrases.yaml", text)


def test_a_term_that_cannot_be_said_is_told_with_its_line(tmp_path: Path) -> None:
    terms = "region: neck\nconcepts:\n  - {id: sigma, label: sigma, forms: [ωσ sign], source: C}\n"
    with pytest.raises(LexiconInvalid, match=r"neck\.yaml, line 3: 'ω' in 'ωσ' cannot be said"):
        written(Reader(pack(tmp_path, "findings/neck.yaml", terms), Words.of(["<eps>"])))


def test_bad_phonemes_are_told(tmp_path: Path) -> None:
    with pytest.raises(LexiconError, match=r"line 2.*'QQ' is no phoneme"):
        pack(tmp_path, "speech.yaml", "pronunciations:\n  - {id: zorbule, sounds: [Z QQ]}\n")
