"""Compiling refuses what it cannot serve, and says so before it has written anything."""

from __future__ import annotations

from pathlib import Path

import pytest

import lexicon
from listener.errors import ModelError
from listener.vocabulary.building import build
from tests.listener.vocabulary.tiny import ngram_file

FRENCH = ("<eps>", "le", "ventre", "est", "souple")


def test_a_model_of_another_language_is_refused_by_name(tmp_path: Path) -> None:
    chances = {(): dict.fromkeys((*FRENCH[1:], "</s>"), 1.6), ("<s>",): {"le": 0.1}}
    (tmp_path / "graph").mkdir()
    (tmp_path / "graph" / "Gr.fst").write_bytes(ngram_file(FRENCH, chances, {("<s>",): 0.5}))
    out = tmp_path / "out"
    out.mkdir()
    with pytest.raises(ModelError, match=r"does not know 'the'.*another language.*needs an English model"):
        build(tmp_path, lexicon.load(), out)
    assert list(out.iterdir()) == []
