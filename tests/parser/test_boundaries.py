"""Boundaries: where statements end, with and without marks."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lexicon.weights import break_weights
from parser.components.boundaries import find_boundaries
from parser.components.breaks import BreakModel, ListShape, features, joins_ahead
from parser.tokens import Tokens, tokenise, with_pauses
from tests.parser.cue_lexicon import CUES

TABLE = Path(__file__).parent / "data" / "boundaries.txt"
_PART = re.compile(r"\||\{([\d.]+)\}|\(([a-z]+)(\d?)\)|[^\s|{}()]+")
_WORDS = """no denies edema or and abdomen soft reports nausea is not heard uh possible history of , . ? mother had if
12 without absent the left but with"""
WORDS = tuple(_WORDS.split())


@dataclass(frozen=True)
class Case:
    tokens: Tokens
    mentions: tuple[tuple[int, int, str], ...]
    expected: tuple[int, ...]


def read_case(line: str) -> Case:
    """One line of the table. Raises ValueError for a mark with no word behind it."""
    text, kinds, pauses, marks = "", {}, {}, []
    waiting = False
    for match in _PART.finditer(line):
        pause, kind, length = match.groups()
        at = len(tokenise(text))
        if match.group() == "|":
            marks.append(at)
        elif pause:
            pauses[at] = float(pause)
        elif kind:
            kinds[at] = (kind, int(length or 1))
        else:
            text += match.group() + " "
        waiting = match.group() == "|" or bool(pause or kind)
    if waiting:
        raise ValueError(f"a mark with no word behind it: {line!r}")
    tokens = tokenise(text)
    tokens = with_pauses(tokens, [pauses.get(i, 0.0) for i in range(len(tokens))])
    mentions = tuple((at, at + length, kind) for at, (kind, length) in kinds.items())
    return Case(tokens, mentions, tuple(marks))


LINES = [line for line in TABLE.read_text(encoding="utf-8").splitlines() if line and not line.startswith("#")]


@pytest.mark.parametrize("line", LINES)
def test_statements_begin_where_marked(line: str) -> None:
    case = read_case(line)
    assert tuple(b.at for b in find_boundaries(case.tokens, case.mentions, CUES)) == case.expected


@pytest.mark.parametrize("line", ["no rash |", "no rash {0.8}", "no (site)"])
def test_loader_refuses_a_mark_with_no_word(line: str) -> None:
    with pytest.raises(ValueError, match="no word behind it"):
        read_case(line)


def test_a_pause_alone_is_no_boundary_inside_a_list() -> None:
    """Dictation pauses also fall inside statements."""
    tokens = tokenise("no masses lesions or tenderness")
    paused = with_pauses(tokens, [0.0, 0.0, 0.7, 0.9, 1.2])
    assert find_boundaries(paused, (), CUES) == ()


def test_a_pause_makes_a_boundary_likelier() -> None:
    tokens = tokenise("alert skin pale")
    assert not find_boundaries(tokens, (), CUES)
    (boundary,) = find_boundaries(with_pauses(tokens, [0.0, 2.0, 0.0]), (), CUES)
    assert (boundary.at, boundary.reason) == (1, "pause")


def test_reasons_name_what_decided() -> None:
    assert [b.reason for b in find_boundaries(tokenise("no rash. soft\nwarm"), (), CUES)] == ["mark", "line"]


@given(st.text())
def test_any_text_gives_ordered_places_inside(text: str) -> None:
    tokens = tokenise(text)
    places = [b.at for b in find_boundaries(tokens, (), CUES)]
    assert places == sorted(set(places))
    assert all(0 < place < len(tokens) for place in places)


@given(st.lists(st.sampled_from(WORDS), max_size=25))
def test_no_boundary_inside_a_known_term(words: list[str]) -> None:
    tokens = tokenise(" ".join(words))
    starts = [i for i in range(0, len(tokens) - 3, 5) if not {".", "?"} & {*tokens.words[i : i + 3]}]
    mentions = [(start, start + 3, "concept") for start in starts]
    inside = {place for start, end, _ in mentions for place in range(start + 1, end)}
    assert not inside & {b.at for b in find_boundaries(tokens, mentions, CUES)}


@settings(max_examples=50)
@given(st.lists(st.sampled_from(WORDS), min_size=1, max_size=40))
def test_reading_scores_what_training_saw(words: list[str]) -> None:
    """The fast reader adds up the same features as the recipe trains on."""
    weights = break_weights()
    scores = BreakModel(weights).scores(words, [0.0] * len(words), 0.0)
    shape, ahead = ListShape(), joins_ahead(words)
    for i, word in enumerate(words):
        if i:
            names = features(words, i, shape, ahead[i], weights.classes)
            assert scores[i] == pytest.approx(weights.bias + sum(weights.table.get(name, 0.0) for name in names))
            if scores[i] >= 0.0:
                shape.begin()
        shape.step(word)
