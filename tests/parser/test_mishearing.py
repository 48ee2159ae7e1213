"""Mishearing: what is read otherwise, what never is, and that nothing is hidden.

The lines are invented; what recognisers make of them was collected with an open recogniser and machine voices, or is
likely from the sounds (common practice).
"""

from __future__ import annotations

import csv
import re
from functools import lru_cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lexicon import load
from parser.components.mishearing import find_repairs, repaired
from parser.components.mishearing_sounds import opposite, repairer, same_words
from parser.pipeline import understand
from parser.soundalike import ear_of
from parser.statements import Situation
from parser.tokens import Tokens, tokenise, with_pauses
from parser.transcript import Word, transcript_of_words
from tests.shared import SHARED, needs_shared

#: Station, what was heard, what is read; confidence of every word, None for text.
HEARD = [
    ("skin_hair_nails", "good skin turgor know tenting", "good skin turgor no tenting", None),
    ("heart", "known murmurs rubs or gallops", "no murmurs rubs or gallops", None),
    ("abdomen", "abdomen soft and on tender", "abdomen soft and nontender", None),
    ("abdomen", "abdomen from", "abdomen firm", None),
    ("lower_extremities", "left heal red and boggy", "left heel red and boggy", None),
    ("back_sacrum_lines", "skin read and warm over the sacrum", "skin red and warm over the sacrum", None),
    ("back_sacrum_lines", "sacrum is read and warm", "sacrum is red and warm", None),
    ("musculoskeletal", "gate steady", "gait steady", None),
    ("neck", "brew ease over the carotids", "bruit over the carotids", None),
    ("eyes", "pair la both pupils", "perrla both pupils", None),
    ("upper_extremities", "and grips strong", "hand grips strong", None),
    ("abdomen", "vowel sounds present", "bowel sounds present", None),
    ("abdomen", "powell sounds active", "bowel sounds active", 0.5),
    ("ears", "nerds are patent", "nares are patent", 0.5),
    ("eyes", "sklar are white", "sclera are white", 0.5),
    ("neck", "curtains two plus bilaterally", "carotids two plus bilaterally", 0.55),
    ("nose_sinuses", "maxell ellory sinuses nontender", "maxillary sinuses nontender", 0.6),
    ("back_sacrum_lines", "skin intact and blanch a bill", "skin intact and blanchable", 0.6),
]

#: Station and a line that must stay as it is: ordinary talk, true words, names of other things.
KEPT = [
    ("heart", "i know murmurs are hard to hear"),
    ("heart", "known murmur since childhood"),
    ("heart", "what time is lunch"),
    ("heart", "can you hear me over the fan"),
    ("posterior_chest", "sorry i lost my place"),
    ("abdomen", "drainage from the wound"),
    ("abdomen", "my mother makes good soup"),
    ("eyes", "he read the chart"),
    ("lower_extremities", "they closed the gate"),
    ("musculoskeletal", "we had a great time in spain"),
    ("neck", "curtains are blue"),
    ("vital_signs", "pulse seventy four"),
    ("heart", "regular rate and rhythm"),
    ("heart", "irregular rate and rhythm"),
    ("abdomen", "abdomen tender"),
    ("abdomen", "abdomen nontender"),
]


def heard(line: str, confidence: float | None = None) -> Tokens:
    tokens = tokenise(line)
    sure = (confidence,) * len(tokens) if confidence is not None else ()
    return with_pauses(tokens, (0.0,) * len(tokens), sure)


def read(line: str, station: str | None, confidence: float | None = None) -> str:
    tokens = heard(line, confidence)
    return " ".join(repaired(tokens, find_repairs(tokens, station, load())).words)


@pytest.mark.parametrize(("station", "line", "wanted", "confidence"), HEARD)
def test_what_was_misheard_is_read(station: str, line: str, wanted: str, confidence: float | None) -> None:
    assert read(line, station, confidence) == wanted


@pytest.mark.parametrize(("station", "line"), KEPT)
def test_what_makes_sense_is_kept(station: str, line: str) -> None:
    assert read(line, station) == line
    assert read(line, station, 0.95) == line


def test_a_repair_is_kept_with_what_was_heard_and_marked() -> None:
    words = (Word("powell", "powell", 0.0, 0.4, 0.5), Word("sounds", "sounds", 0.4, 0.8, 0.9),
             Word("active", "active", 0.8, 1.2, 0.9))
    utterance = transcript_of_words([words], "x").utterances[0]
    statement = understand(utterance, Situation(region="abdomen")).statements[0]
    assert statement.concept == "bowel_sounds_active"
    assert statement.evidence.heard == "powell sounds active"
    assert any('heard "powell sounds", read as "bowel sounds"' in doubt for doubt in statement.doubts)


def test_examples_of_the_lexicon_are_read_as_they_are() -> None:
    """No example is read otherwise by its sound, with or without confidences, in the station it belongs to."""
    lexicon = load()
    for concept in lexicon.concepts.values():
        for example in concept.examples:
            words = tokenise(example.partition("=")[0]).words
            for sure in (None, 0.95):
                found = repairer(lexicon).readings(words, (sure,) * len(words), lexicon.home[concept.id])
                assert not found, example


@lru_cache(maxsize=1)
def _vocabulary() -> tuple[str, ...]:
    lexicon = load()
    odd = "vowel powell nerds curtains berlin target guns cavs hillary bill sklar gate".split()
    forms = [form for c in list(lexicon.concepts.values())[::7] for form in c.forms[:2]]
    kept = sorted(repairer(lexicon).kept)[::5]
    return tuple(dict.fromkeys((*odd, *kept, *(word for form in forms for word in form.split()))))


LINES = st.lists(st.sampled_from(_vocabulary()), min_size=1, max_size=9).map(" ".join)
STATIONS = st.sampled_from((None, *load().region_order))


@settings(max_examples=150, deadline=None)
@given(LINES, STATIONS, st.sampled_from((None, 0.4, 0.7, 0.95)))
def test_numbers_sides_and_negatives_are_never_read_otherwise_by_sound(
    line: str, station: str | None, sure: float | None
) -> None:
    tokens = heard(line, sure)
    rules = repairer(load())
    for one in rules.readings(tokens.words, tokens.confidences or (None,) * len(tokens), station):
        assert rules.kept.isdisjoint(tokens.words[one.start : one.end])
        assert rules.kept.isdisjoint(one.piece)


@settings(max_examples=150, deadline=None)
@given(LINES, STATIONS, st.sampled_from((None, 0.4, 0.95)))
def test_with_the_repairs_read_in_nothing_is_left_to_repair(
    line: str, station: str | None, sure: float | None
) -> None:
    tokens = heard(line, sure)
    once = repaired(tokens, find_repairs(tokens, station, load()))
    assert repaired(once, find_repairs(once, station, load())).words == once.words


@settings(max_examples=100, deadline=None)
@given(LINES, STATIONS)
def test_what_was_heard_can_be_read_back(line: str, station: str | None) -> None:
    tokens = heard(line, 0.5)
    repairs = find_repairs(tokens, station, load())
    ends = [0, *(end for repair in repairs for end in (repair.start, repair.end))]
    assert ends == sorted(ends)
    for repair in repairs:
        assert tokens.text[repair.chars[0] : repair.chars[1]] == repair.heard
        assert repair.text
        assert repair.reason


@needs_shared
def test_everyday_speech_is_never_read_as_dictation() -> None:
    """Transcripts of everyday speech (LJ Speech, Common Voice and others; their README names sources and licences)."""
    assert SHARED is not None
    table = (SHARED / "data" / "speech" / "manifest.tsv").read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(table, delimiter="\t")
    lines = [re.sub(r"[^a-z' ]", " ", row["transcript"].lower()) for row in rows]
    rules, found = repairer(load()), []
    for line in lines:
        words = line.split()
        for station in (None, *load().region_order):
            for sure in (None, 0.95):
                found += [(line, one.piece) for one in rules.readings(words, (sure,) * len(words), station)]
    assert len(lines) > 100
    assert not found


@pytest.mark.parametrize(
    ("one", "other", "near"),
    [("bowel", "vowel", True), ("gait", "gate", True), ("nares", "nerys", True), ("carotid", "murmur", False)],
)
def test_how_alike_words_sound(one: str, other: str, near: bool) -> None:
    """Voice and place are cheap, manner is dear."""
    assert (ear_of(load()).unlike((one,), (other,)) < 0.1) is near


def test_opposites_and_inflections_are_no_mishearings() -> None:
    assert opposite(("irregular",), ("regular",))
    assert opposite(("tender",), ("nontender",))
    assert not opposite(("vowel",), ("bowel",))
    assert same_words(("septum", "is"), ("septum",))
    assert same_words(("granulomas",), ("granuloma",))
    assert not same_words(("vowel", "sounds"), ("bowel", "sounds"))
