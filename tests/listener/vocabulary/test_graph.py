"""The written automaton, read back by an independent OpenFst library, gives sentences the model's probabilities."""

from __future__ import annotations

import json
import math
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from listener.vocabulary.estimate import estimated, mixed
from listener.vocabulary.fst import write_const
from listener.vocabulary.graph import grammar, respelled
from listener.vocabulary.joining import joined
from listener.vocabulary.ngrams import Ngrams, Words, packed

SYMBOLS = ["<eps>", "no", "carotid", "brew", "ease", "brews", "heard"]
LINES = [["no", "carotid", "bruits"], ["carotid", "bruits", "heard"], ["no", "bruits"], ["heard", "no", "carotid"]]
WORDS = Words.of(SYMBOLS).with_words(["bruits"])
SPELLINGS = {"bruits": [("brew", "ease"), ("brews",)]}


#: The library must not share a process with the recogniser: both carry the same registry of automata, and loading
#: one after the other hangs.
_DUMP = """
import json, sys, kaldifst
fst = kaldifst.StdConstFst.read(sys.argv[1])
arcs = [[s, a.ilabel, a.olabel, float(a.weight.value), a.nextstate]
        for s in kaldifst.StateIterator(fst) for a in kaldifst.ArcIterator(fst, s)]
final = {s: float(fst.final(s).value) for s in kaldifst.StateIterator(fst)}
json.dump({"start": fst.start, "arcs": arcs, "final": final, "told": str(kaldifst.info(fst))}, open(sys.argv[2], "w"))
"""


class Read:
    """What the independent library read."""

    def __init__(self, path: Path) -> None:
        dumped = path.with_suffix(".json")
        done = subprocess.run([sys.executable, "-c", _DUMP, str(path), str(dumped)], check=True, capture_output=True,
                              text=True)
        found = json.loads(dumped.read_text())
        self.start: int = found["start"]
        self.told: str = found["told"] + done.stdout
        self.final = {int(state): cost for state, cost in found["final"].items()}
        self.arcs: dict[int, list[tuple[int, float, int]]] = {state: [] for state in self.final}
        for state, label, out, cost, target in found["arcs"]:
            assert label == out
            self.arcs[state].append((label, cost, target))


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Ngrams, Read]:
    model = estimated(LINES, WORDS)
    path = tmp_path_factory.mktemp("graph") / "Gr.fst"
    write_const(respelled(grammar(model, WORDS).automaton, WORDS, SPELLINGS), path)
    return model, Read(path)


def sentence_cost(model: Ngrams, sentence: list[str]) -> float:
    ids = [WORDS.start, *(WORDS.ids[word] for word in sentence), WORDS.end]
    cost = -math.log(model.after_one(packed(np.array(ids[0:1]), np.array(ids[1:2])))[0])
    for i in range(2, len(ids)):
        cost -= math.log(model.after_two(packed(*(np.array([j]) for j in ids[i - 2 : i + 1])))[0])
    return cost


def cheapest(fst: Read, labels: list[int]) -> float:
    """The cost of the cheapest way through the automaton that says ``labels``."""
    best = {(fst.start, 0): 0.0}
    waiting = [(fst.start, 0)]
    done = math.inf
    while waiting:
        state, said = waiting.pop()
        here = best[(state, said)]
        if said == len(labels):
            done = min(done, here + fst.final[state])
        for label, weight, target in fst.arcs[state]:
            if label == 0 or (said < len(labels) and label == labels[said]):
                key, cost = (target, said + (label != 0)), here + weight
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
    model, fst = written
    cost = cheapest(fst, [WORDS.ids[word] for word in said])
    assert cost == pytest.approx(sentence_cost(model, sentence), abs=1e-4)


def test_an_unseen_sentence_is_possible_but_dear(written) -> None:
    _, fst = written
    likely = cheapest(fst, [WORDS.ids[word] for word in ("no", "carotid", "brews")])
    unlikely = cheapest(fst, [WORDS.ids[word] for word in ("carotid", "carotid", "no", "no")])
    assert likely < unlikely < math.inf


def test_pieces_alone_are_no_sentence(written) -> None:
    _, fst = written
    assert cheapest(fst, [WORDS.ids["no"], WORDS.ids["ease"]]) == math.inf


def test_the_file_is_sorted_and_flagged_so(written) -> None:
    _, fst = written
    for arcs in fst.arcs.values():
        labels = [label for label, _, _ in arcs]
        assert labels == sorted(labels)
        assert all(0 <= label < WORDS.labels for label in labels)
    assert re.search(r"input label sorted\s+y", fst.told)


TALK = [["heard", "heard"], ["ease", "heard"], ["no", "ease"]]
BEGINS, RETURNS = 0.7, 0.05


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> tuple[Ngrams, Ngrams, Read]:
    dictation, talk = estimated(LINES, WORDS), estimated(TALK, WORDS)
    known = dictation.unigram > 0
    known[WORDS.start] = True
    mixture = mixed(dictation, talk.within(known), 0.8, WORDS.start)
    one = joined(grammar(mixture, WORDS), grammar(talk, WORDS), known, begins=BEGINS, returns=RETURNS)
    path = tmp_path_factory.mktemp("joined") / "Gr.fst"
    write_const(respelled(one, WORDS, SPELLINGS), path)
    return mixture, talk, Read(path)


def labels_of(*words: str) -> list[int]:
    return [WORDS.ids[word] for word in words]


def test_a_line_costs_no_more_than_in_its_own_grammar_and_beginning_in_it(both) -> None:
    mixture, talk, fst = both
    dictated = cheapest(fst, labels_of("carotid", "brew", "ease", "heard"))
    assert dictated <= sentence_cost(mixture, ["carotid", "bruits", "heard"]) - math.log(BEGINS) + 1e-4
    talked = cheapest(fst, labels_of("heard", "heard"))
    assert talked <= sentence_cost(talk, ["heard", "heard"]) - math.log(1 - BEGINS) + 1e-4


def test_talk_turns_to_dictation_and_back(both) -> None:
    fst = both[2]
    assert cheapest(fst, labels_of("ease", "carotid", "brews", "heard", "ease")) < math.inf


def test_silent_arcs_make_no_circle(both) -> None:
    fst = both[2]
    silent = {state: [target for label, _, target in arcs if label == 0] for state, arcs in fst.arcs.items()}
    for state, targets in silent.items():
        seen, waiting = set(), list(targets)
        while waiting:
            there = waiting.pop()
            assert there != state
            if there not in seen:
                seen.add(there)
                waiting.extend(silent[there])
