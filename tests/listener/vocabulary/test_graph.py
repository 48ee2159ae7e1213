"""The written automaton, read back by an independent OpenFst library, gives sentences the model's probabilities."""

from __future__ import annotations

import math
import re
from pathlib import Path

import kaldifst
import numpy as np
import pytest

from listener.vocabulary.estimate import estimated
from listener.vocabulary.fst import write_const
from listener.vocabulary.graph import graph
from listener.vocabulary.ngrams import Ngrams, Words, packed

SYMBOLS = ["<eps>", "no", "carotid", "brew", "ease", "brews", "heard"]
LINES = [["no", "carotid", "bruits"], ["carotid", "bruits", "heard"], ["no", "bruits"], ["heard", "no", "carotid"]]
WORDS = Words.of(SYMBOLS).with_words(["bruits"])
SPELLINGS = {"bruits": [("brew", "ease"), ("brews",)]}


@pytest.fixture
def written(tmp_path: Path) -> tuple[Ngrams, Path]:
    model = estimated(LINES, WORDS)
    write_const(graph(model, WORDS, SPELLINGS), tmp_path / "Gr.fst")
    return model, tmp_path / "Gr.fst"


def sentence_cost(model: Ngrams, sentence: list[str]) -> float:
    ids = [WORDS.start, *(WORDS.ids[word] for word in sentence), WORDS.end]
    cost = -math.log(model.after_one(packed(np.array(ids[0:1]), np.array(ids[1:2])))[0])
    for i in range(2, len(ids)):
        cost -= math.log(model.after_two(packed(*(np.array([j]) for j in ids[i - 2 : i + 1])))[0])
    return cost


def cheapest(path: Path, labels: list[int]) -> float:
    """The cost of the cheapest way through the automaton that says ``labels``."""
    fst = kaldifst.StdVectorFst(kaldifst.StdConstFst.read(str(path)))
    best = {(fst.start, 0): 0.0}
    waiting = [(fst.start, 0)]
    done = math.inf
    while waiting:
        state, said = waiting.pop()
        here = best[(state, said)]
        if said == len(labels):
            done = min(done, here + float(fst.final(state).value))
        for arc in kaldifst.ArcIterator(fst, state):
            if arc.ilabel == 0 or (said < len(labels) and arc.ilabel == labels[said]):
                key = (arc.nextstate, said + (arc.ilabel != 0))
                cost = here + float(arc.weight.value)
                if cost < best.get(key, math.inf) - 1e-9:
                    best[key] = cost
                    waiting.append(key)
    return done


@pytest.mark.parametrize(
    ("sentence", "said"),
    [
        (["no", "carotid", "bruits"], ["no", "carotid", "brew", "ease"]),
        (["no", "carotid", "bruits"], ["no", "carotid", "brews"]),
        (["carotid", "bruits", "heard"], ["carotid", "brew", "ease", "heard"]),
        (["heard", "no", "carotid"], ["heard", "no", "carotid"]),
    ],
)
def test_a_seen_sentence_costs_what_the_model_says(written, sentence: list[str], said: list[str]) -> None:
    model, path = written
    cost = cheapest(path, [WORDS.ids[word] for word in said])
    assert cost == pytest.approx(sentence_cost(model, sentence), abs=1e-4)


def test_an_unseen_sentence_is_possible_but_dear(written) -> None:
    _, path = written
    likely = cheapest(path, [WORDS.ids[word] for word in ("no", "carotid", "brews")])
    unlikely = cheapest(path, [WORDS.ids[word] for word in ("carotid", "carotid", "no", "no")])
    assert likely < unlikely < math.inf


def test_pieces_alone_are_no_sentence(written) -> None:
    _, path = written
    assert cheapest(path, [WORDS.ids["no"], WORDS.ids["ease"]]) == math.inf


def test_the_file_is_sorted_and_flagged_so(written, capfd) -> None:
    _, path = written
    fst = kaldifst.StdConstFst.read(str(path))
    for state in kaldifst.StateIterator(fst):
        labels = [arc.ilabel for arc in kaldifst.ArcIterator(fst, state)]
        assert labels == sorted(labels)
        assert all(0 <= label < WORDS.labels for label in labels)
    told = str(kaldifst.info(fst)) + capfd.readouterr().out
    assert re.search(r"input label sorted\s+y", told)
