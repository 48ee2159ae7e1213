"""Assertion: present, absent, uncertain, not assessed, history, family, hypothetical."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lexicon.schema.cues import CuesFile
from parser.components.assertion import assert_status
from parser.components.boundaries import find_boundaries
from parser.components.carrying import left_open, open_negation
from parser.components.cues import CueBook, cue_book
from parser.layers import Assertion
from parser.spans import assert_spans, assertions_of_spans
from parser.tokens import tokenise
from tests.bench.negation import half, measure, placed
from tests.parser.cue_lexicon import CUES
from tests.parser.markup import Marked, read_marked, read_table
from tests.shared import SHARED, lines_of, needs_shared

CASES = read_table(Path(__file__).parent / "data" / "assertion.txt")
_WORDS = """no denies edema or and abdomen soft reports nausea is not heard possible ? history of , . mother had if 12
without absent the left but with none"""
WORDS = tuple(_WORDS.split())


def statuses(text: str, spans: list[tuple[int, int]]) -> list[str]:
    return assert_spans(text, spans, CUES)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.text)
def test_marked_up_sentences(case: Marked) -> None:
    assert tuple(statuses(case.text, list(case.spans))) == case.expected


@pytest.mark.parametrize(
    "line",
    [
        "<no>pain</no>",
        "<absent>pain",
        "pain</absent>",
        "<absent>a <present>b</present></absent>",
        "<absent></absent> pain",
        "<absent>pain</present>",
    ],
)
def test_loader_refuses_bad_tags(line: str) -> None:
    with pytest.raises(ValueError, match=r"tag|match|closed"):
        read_marked(line)


def test_loader_refuses_a_case_that_expects_nothing(tmp_path: Path) -> None:
    path = tmp_path / "table.txt"
    path.write_text("# a comment\nno pain\n", encoding="utf-8")
    with pytest.raises(ValueError, match="line 2: no expectation"):
        read_table(path)


def test_each_assertion_keeps_its_cue() -> None:
    (pain,) = assertions_of_spans("she denies any pain", [(15, 19)], CUES)
    assert pain == Assertion("absent", (1, 3), "denies any")
    (edema,) = assertions_of_spans("edema is not seen", [(0, 5)], CUES)
    assert edema == Assertion("absent", (1, 4), "is not seen")
    assert assertions_of_spans("edema", [(0, 5)], CUES) == (Assertion("present"),)


def test_spans_in_any_order() -> None:
    assert statuses("no pain but edema", [(12, 17), (3, 7)]) == ["present", "absent"]
    assert statuses("no chest pain", [(9, 13), (3, 13), (3, 8)]) == ["absent"] * 3
    assert statuses("no pain", []) == []


def test_a_span_of_blanks_is_present() -> None:
    assert statuses("no   pain", [(3, 4)]) == ["present"]


@pytest.mark.parametrize("span", [(-1, 2), (3, 3), (5, 99), (4, 2)])
def test_a_span_outside_the_text_is_refused(span: tuple[int, int]) -> None:
    with pytest.raises(ValueError, match=r"is no part of a text of 7 characters"):
        statuses("no pain", [span])


# ---- cues


def test_longest_cue_wins_and_stops_at_a_finding() -> None:
    book = cue_book(CUES)
    words = ["no", "changes", "in", "vision"]
    assert [match.cue.status for match in book.find(words)] == ["none"]
    assert [match.cue.status for match in book.find(words, [1, 4])] == ["absent"]


def test_sets_years_and_fillers() -> None:
    file = CuesFile.model_validate(
        {"sets": [{"id": "seen", "words": ["seen", "heard"]}], "fillers": ["uh"],
         "cues": [{"id": "a", "status": "absent", "side": "before", "forms": "not {seen}"},
                  {"id": "b", "status": "history", "forms": "in {year}"}]}
    )  # fmt: skip
    book = CueBook(file)
    reading = book.read(["not", "uh", "heard", "in", "1998", "in", "12"])
    assert reading.words == ("not", "heard", "in", "1998", "in", "12")
    assert [(m.start, m.end, m.cue.id) for m in book.find(reading.words)] == [(0, 2, "a"), (2, 4, "b")]
    assert reading.at == (0, 2, 3, 4, 5, 6)
    assert reading.place == (0, 1, 1, 2, 3, 4, 5, 6)


def test_every_form_of_the_lexicon_is_found_whole() -> None:
    """No cue of the lexicon is broken up by another: each form is found over its whole length."""
    file = CUES.files["cues"]
    assert isinstance(file, CuesFile)
    words_of_set = {f"{{{named.id}}}": named.words[0] for named in file.sets} | {"{year}": "1998"}
    book = cue_book(CUES)
    hidden = []
    for cue in file.cues:
        for form in cue.forms:
            said = form
            for name, word in words_of_set.items():
                said = said.replace(name, word)
            words = tokenise(said).words
            found = book.find(words)
            if [(m.start, m.end) for m in found] != [(0, len(words))]:
                hidden.append((cue.id, form))
    assert not hidden


# ---- over the end of an utterance


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("no", "no"),
        ("patient denies any", "any"),
        ("redness or", "or"),
        ("edema of the", "the"),
        ("there may be", "may be"),
        ("status post", "status post"),
        ("no redness", None),
        ("edema absent", None),
        ("denies pain", None),
        ("", None),
    ],
)
def test_what_an_utterance_leaves_open(text: str, expected: str | None) -> None:
    assert left_open(tokenise(text), CUES) == expected


def test_a_negated_list_goes_on_after_a_pause() -> None:
    first, second = tokenise("no masses lesions"), tokenise("or tenderness abdomen is soft")
    spans = [(1, 2), (2, 3)]
    given = assert_status(first, spans, find_boundaries(first, (), CUES), CUES)
    cue = open_negation(first, spans, given)
    assert cue == "no"
    later = [(1, 2), (4, 5)]
    bounds = find_boundaries(second, (), CUES)
    assert [a.status for a in assert_status(second, later, bounds, CUES, cue)] == ["absent", "present"]
    assert [a.status for a in assert_status(second, later, bounds, CUES)] == ["present", "present"]


def test_no_list_is_open_behind_other_words() -> None:
    tokens = tokenise("no masses today")
    assert open_negation(tokens, [(1, 2)], assert_status(tokens, [(1, 2)], (), CUES)) is None
    assert open_negation(tokens, [], ()) is None


# ---- properties


@st.composite
def texts_with_spans(draw: st.DrawFn) -> tuple[str, list[tuple[int, int]]]:
    text = draw(st.one_of(st.text(min_size=1), st.lists(st.sampled_from(WORDS), min_size=1, max_size=30).map(" ".join)))
    starts = draw(st.lists(st.integers(0, len(text) - 1), max_size=6))
    return text, [(start, draw(st.integers(start + 1, len(text)))) for start in starts]


@given(texts_with_spans())
def test_any_text_and_spans_give_one_status_each(case: tuple[str, list[tuple[int, int]]]) -> None:
    text, spans = case
    tokens = tokenise(text)
    given_statuses = assertions_of_spans(text, spans, CUES)
    assert len(given_statuses) == len(spans)
    for assertion in given_statuses:
        if assertion.cue is not None:
            assert 0 <= assertion.cue[0] < assertion.cue[1] <= len(tokens)
            assert assertion.cue_text == tokens.slice_text(*assertion.cue)


@pytest.mark.parametrize("following", ["Gait steady.", "Temperature 98.6.", "No falls.", "Mother had diabetes."])
@pytest.mark.parametrize("case", CASES[::5], ids=lambda case: case.text)
def test_an_unrelated_sentence_after_it_changes_nothing(case: Marked, following: str) -> None:
    text = case.text if case.text.endswith((".", "?")) else case.text + "."
    spans = list(case.spans)
    assert statuses(f"{text} {following}", spans) == statuses(text, spans)


@given(st.sampled_from(CASES), st.integers(0, 60), st.sampled_from(["uh", "um", "er"]))
def test_a_hesitation_flips_nothing(case: Marked, where: int, filler: str) -> None:
    gaps = [i for i, letter in enumerate(case.text) if letter == " "]
    if not gaps:
        return
    gap = gaps[where % len(gaps)]
    grown = len(filler) + 1
    text = f"{case.text[:gap]} {filler}{case.text[gap:]}"
    spans = [(start + grown * (start > gap), end + grown * (end > gap)) for start, end in case.spans]
    assert tuple(statuses(text, spans)) == case.expected


@given(st.sampled_from(CASES))
def test_upper_case_reads_the_same(case: Marked) -> None:
    assert tuple(statuses(case.text.upper(), list(case.spans))) == case.expected


# ---- against sentences that no one on this project wrote


@needs_shared
@pytest.mark.parametrize(("together", "least"), [(0, 0.97), (5, 0.93)])
def test_negation_of_clinical_sentences(together: int, least: float) -> None:
    """NegEx test kit (Chapman et al. 2001; Harkema et al. 2009), development part, spans given.

    The boundary model has seen these sentences; the honest figure for sentences run together is that of
    ``python -m tests.bench.train_boundaries``.
    """
    assert SHARED is not None
    lines = [placed(line) for line in lines_of(SHARED / "data" / "text" / "negation_dev.jsonl")]
    figures, _ = measure(statuses, lines, together)  # type: ignore[arg-type]
    assert figures["f1"] >= least
    assert {half(line) for line in lines} == {"A", "B"}
