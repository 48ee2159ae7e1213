"""The reader of the stock language model against hand-made tiny models."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from listener.errors import ModelError
from listener.vocabulary.ngrams import Words, packed
from listener.vocabulary.stock import read_stock
from tests.listener.vocabulary.tiny import ngram_file

SYMBOLS = ("<eps>", "red", "skin", "warm", "dry")
COSTS = {
    (): {"red": 2.0, "skin": 1.0, "warm": 1.5, "dry": 2.5, "</s>": 1.2},
    ("<s>",): {"skin": 0.3},
    ("skin",): {"warm": 0.7, "</s>": 2.2},
    ("warm",): {"dry": 0.9},
    ("skin", "warm"): {"dry": 0.1},
}
BACKOFFS = {("<s>",): 0.4, ("skin",): 0.5, ("warm",): 0.6, ("skin", "warm"): 0.8}


@pytest.fixture
def model_file(tmp_path: Path) -> Path:
    path = tmp_path / "Gr.fst"
    path.write_bytes(ngram_file(SYMBOLS, COSTS, BACKOFFS))
    return path


def chance(model, words: Words, *sequence: str) -> float:
    ids = [np.array([words.ids[word]]) for word in sequence]
    if len(ids) == 1:
        return float(model.unigram[ids[0][0]])
    return float((model.after_one if len(ids) == 2 else model.after_two)(packed(*ids))[0])


@pytest.mark.parametrize(
    ("sequence", "cost"),
    [
        (("red",), 2.0),
        (("</s>",), 1.2),
        (("<s>", "skin"), 0.3),
        (("skin", "warm"), 0.7),
        (("skin", "</s>"), 2.2),
        (("skin", "warm", "dry"), 0.1),
        (("skin", "red"), 0.5 + 2.0),  # backed off once
        (("skin", "warm", "red"), 0.8 + 0.6 + 2.0),  # backed off twice
        (("red", "skin", "warm"), 0.7),  # the context (red, skin) is not in the model
        (("red", "dry"), 2.5),
    ],
)
def test_probabilities_are_those_written(model_file: Path, sequence: tuple[str, ...], cost: float) -> None:
    stock = read_stock(model_file)
    assert chance(stock.ngrams, Words.of(stock.symbols), *sequence) == pytest.approx(math.exp(-cost), rel=1e-6)


def test_symbols_keep_their_labels(model_file: Path) -> None:
    assert read_stock(model_file).symbols == SYMBOLS


def test_a_file_cut_short_anywhere_is_an_error_for_people(model_file: Path) -> None:
    whole = model_file.read_bytes()
    for size in range(0, len(whole), 7):
        model_file.write_bytes(whole[:size])
        with pytest.raises(ModelError, match="fetch the acoustic model again"):
            read_stock(model_file)


def test_a_damaged_byte_never_ends_in_another_error(model_file: Path) -> None:
    whole = model_file.read_bytes()
    for at in range(0, len(whole), 3):
        model_file.write_bytes(whole[:at] + bytes([whole[at] ^ 0xFF]) + whole[at + 1 :])
        try:
            read_stock(model_file)
        except ModelError as error:
            assert str(model_file) in str(error)  # noqa: PT017


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(ModelError, match=r"Gr\.fst cannot be read"):
        read_stock(tmp_path / "Gr.fst")


@pytest.mark.parametrize("other", [b"", b"RIFF....WAVE", b"\xd6\xfd\xb2\x7e\x06\x00\x00\x00vector"])
def test_another_kind_of_file_is_refused(tmp_path: Path, other: bytes) -> None:
    (tmp_path / "Gr.fst").write_bytes(other)
    with pytest.raises(ModelError):
        read_stock(tmp_path / "Gr.fst")
