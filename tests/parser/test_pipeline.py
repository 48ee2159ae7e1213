"""The pipeline as a whole: declared stages, streams, determinism, any text."""

from __future__ import annotations

import string
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lexicon import load
from parser.components.layer import PREFIX
from parser.pipeline import STAGES, Understood, build, finish, understand, understand_all
from parser.statements import Situation, Statement
from parser.structurer import file
from parser.transcript import Word, transcript_of_text, transcript_of_words


def told(text: str) -> list[Statement]:
    return [s for one in understand_all(transcript_of_text(text, "test")) for s in one.statements]


def brief(statements: list[Statement]) -> list[tuple[object, ...]]:
    return [(s.concept, s.status, s.region, s.site, s.side, s.value and s.value.text) for s in statements]


def test_stages_declare_what_they_need() -> None:
    """Every stage finds what it requires written by an earlier one."""
    analysis = build().analyze_pipes(keys=["assigns", "requires"])
    assert {name: problems for name, problems in analysis["problems"].items() if problems} == {}


def test_stages_are_the_declared_ones() -> None:
    assert tuple(name.removeprefix(PREFIX) for name in build().pipe_names) == STAGES


def test_components_work_in_the_pipelines_of_others() -> None:
    """Entry points: a program that imports only spaCy finds every component."""
    program = (
        "import spacy\n"
        "nlp = spacy.blank('en')\n"
        f"for stage in {STAGES!r}: nlp.add_pipe('{PREFIX}' + stage)\n"
        "doc = nlp('Abdomen soft, no masses.')\n"
        "print([(s.concept, s.status, s.region) for s in doc._.crownsole_statements])\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True, cwd="/")
    assert done.stdout.strip() == "[('soft', 'present', 'abdomen'), ('mass', 'absent', 'abdomen')]"


@pytest.mark.parametrize(
    ("utterances", "whole"),
    [
        (["blood pressure", "one twenty eight over eighty two"], "blood pressure one twenty eight over eighty two"),
        (["blood pressure one twenty eight over", "eighty two"], "blood pressure one twenty eight over eighty two"),
        (["lungs clear no", "crackles or wheezes"], "lungs clear no crackles or wheezes"),
        (["no murmurs rubs or", "gallops"], "no murmurs rubs or gallops"),
        (["heart rate", "seventy six"], "heart rate seventy six"),
    ],
)
def test_an_utterance_that_breaks_off_is_read_with_the_next(utterances: list[str], whole: str) -> None:
    assert brief(told("\n".join(utterances))) == brief(told(whole))


def test_what_is_pending_at_the_end_is_not_lost() -> None:
    situation = understand(transcript_of_text("edema is", "test").utterances[0], Situation()).situation
    assert situation.pending is not None
    ending = finish(situation)
    assert ending is not None
    assert [s.concept for s in ending.statements] == ["edema"]


def test_evidence_points_at_the_words_and_times() -> None:
    """Common practice of records: each line can be traced to what was said and when."""
    words = "lungs clear no crackles".split()
    spoken = [Word(w, w, float(i), i + 0.5, 0.9) for i, w in enumerate(words)]
    transcript = transcript_of_words([spoken], "test")
    found = [s for one in understand_all(transcript) for s in one.statements]
    crackles = next(s for s in found if s.concept == "crackles")
    assert (crackles.evidence.start, crackles.evidence.end) == (2.0, 3.5)
    first, last = crackles.evidence.words
    assert [w.text for w in transcript.words[first : last + 1]] == ["no", "crackles"]
    start, end = crackles.evidence.chars
    assert transcript.text[start:end] == "no crackles"


def test_an_added_utterance_changes_nothing_before_it() -> None:
    lines = ["skin warm and dry", "no edema", "pedal pulses two plus bilaterally", "heart rate seventy two"]
    for cut in range(1, len(lines)):
        assert brief(told("\n".join(lines)))[: len(told("\n".join(lines[:cut])))] == brief(told("\n".join(lines[:cut])))


_LINES = (
    "skin warm and dry",
    "no edema",
    "blood pressure one twenty over eighty",
    "uh pupils equal",
    "scratch that",
    "correction left",
    "moving on to the abdomen",
    "tenderness in the right lower quadrant",
    "take a deep breath for me",
    "no crackles or wheezes",
    "recorder what is left",
    "two plus",
    "on the left",
    "no",
    "over",
    "denies pain reports nausea",
)


@settings(deadline=None, max_examples=40)
@given(st.lists(st.sampled_from(_LINES), max_size=8))
def test_a_stream_is_read_as_the_whole(lines: list[str]) -> None:
    """Utterance by utterance with the situation carried over gives what the whole transcript gives."""
    transcript = transcript_of_text("\n".join(lines), "test")
    situation, streamed = Situation(), []
    for utterance in transcript.utterances:
        one = understand(utterance, situation)
        situation = one.situation
        streamed += one.statements
    ending = finish(situation)
    streamed += ending.statements if ending else ()
    assert brief(streamed) == brief([s for one in understand_all(transcript) for s in one.statements])


@settings(deadline=None, max_examples=120)
@given(
    st.one_of(
        st.text(max_size=200),
        st.lists(
            st.sampled_from([*" ".join(_LINES).split(), *string.punctuation, "120/80", "½", "\u202e", "x4"]),
            max_size=60,
        ).map(" ".join),
    )
)
def test_any_text_is_accepted(text: str) -> None:
    """No exception on any text; every place lies inside it; stations stand in record order."""
    transcript = transcript_of_text(text, "test")
    understood: list[Understood] = list(understand_all(transcript))
    record = file(understood, transcript, load(), run_id="test")
    assert tuple(region.region for region in record.regions) == load().region_order
    for _, entry in record.entries().values():
        start, end = entry.evidence.chars
        assert 0 <= start <= end <= len(transcript.text)
        assert 0 <= entry.evidence.words[0] <= entry.evidence.words[1] < max(len(record.words), 1)


def test_the_same_words_give_the_same_record() -> None:
    transcript = transcript_of_text("\n".join(_LINES), "test")
    records = [file(understand_all(transcript), transcript, load(), run_id="test").model_dump_json() for _ in range(2)]
    assert records[0] == records[1]
