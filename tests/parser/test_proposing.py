"""Changes proposed by a person: what the lexicon takes, warns of and refuses; other readings of doubtful words.

Values are common practice: how pressures, temperatures and grades are written in notes.
"""

from __future__ import annotations

import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lexicon import load
from parser.pipeline import understand_all
from parser.proposing import choices, others, proposed
from parser.record import Entry, Record
from parser.structurer import file
from parser.transcript import Transcript, Word, transcript_of_text, transcript_of_words

LEXICON = load()
SAID = """blood pressure 128/82
temperature 98.6
heart rate 72
no murmurs
pedal pulses 2+ bilaterally
trachea midline"""


def record_of(transcript: Transcript) -> Record:
    return file(understand_all(transcript), transcript, LEXICON, run_id="a")


RECORD = record_of(transcript_of_text(SAID, "a test"))


def entry_of(concept: str, record: Record = RECORD) -> Entry:
    return next(entry for _, entry in record.entries().values() if entry.concept == concept)


TAKEN: list[tuple[str, dict[str, str | None], dict[str, Any]]] = [
    ("blood_pressure", {"value": "118/76"}, {"value": {"text": "118/76", "unit": "mm[Hg]"}}),
    ("blood_pressure", {"value": "one eighteen over seventy six"}, {"value": {"text": "118/76", "unit": "mm[Hg]"}}),
    ("temperature", {"value": "37.2"}, {"value": {"text": "37.2", "unit": "Cel"}}),
    ("temperature", {"value": "37,2"}, {"value": {"text": "37.2", "unit": "Cel"}}),
    ("temperature", {"value": "99.1 F"}, {"value": {"text": "99.1", "unit": "[degF]"}}),
    ("heart_rate", {"value": " 88 "}, {"value": {"text": "88", "unit": "/min"}}),
    ("heart_rate", {"value": "72"}, {}),
    ("heart_rate", {"status": "not_assessed"}, {"status": "not_assessed"}),
    ("pulse", {"value": "1+"}, {"value": {"text": "1+", "unit": None}}),
    ("pulse", {"side": "left"}, {"side": "left"}),
    ("pulse", {"side": None}, {"side": None}),
    ("murmur", {"status": "present"}, {"status": "present"}),
    ("murmur", {"status": "absent"}, {}),
    ("murmur", {"site": "Aortic Area"}, {"site": "aortic area"}),
]


@pytest.mark.parametrize(("concept", "wanted", "changes"), TAKEN)
def test_what_fits_is_taken_in_its_canonical_form(
    concept: str, wanted: dict[str, str | None], changes: dict[str, Any]
) -> None:
    proposal = proposed(entry_of(concept), wanted, LEXICON)
    assert proposal.changes == changes
    assert proposal.warnings == ()


UNLIKELY = [
    ("blood_pressure", {"value": "900/20"}, "systolic 900 is outside what is plausible"),
    ("blood_pressure", {"value": "76/118"}, "not above"),
    ("temperature", {"value": "986"}, "outside what is plausible"),
    ("midline", {"side": "left"}, "usually said without a side"),
]


@pytest.mark.parametrize(("concept", "wanted", "part"), UNLIKELY)
def test_what_is_unlikely_comes_with_a_warning(concept: str, wanted: dict[str, str | None], part: str) -> None:
    proposal = proposed(entry_of(concept), wanted, LEXICON)
    assert proposal.changes
    assert any(part in warning for warning in proposal.warnings)


REFUSED = [
    ("heart_rate", {"value": "fast"}, "'fast' is no heart rate. Write it like this: 72."),
    ("heart_rate", {"value": None}, "needs its number"),
    ("heart_rate", {"status": "absent"}, "cannot be 'absent'"),
    ("midline", {"value": "3"}, "takes no number"),
    ("murmur", {"status": "gone"}, "is no status"),
    ("murmur", {"side": "upstairs"}, "is no side"),
    ("murmur", {"site": "carotyd"}, "Was carotid artery or"),
    ("murmur", {"label": "x"}, "cannot be changed"),
    ("murmur", {"site": "x" * 500}, "too long"),
    ("murmur", {"site": "neck\u202e"}, "no text"),
    ("murmur", {"status": 7}, "written as text"),
]


@pytest.mark.parametrize(("concept", "wanted", "part"), REFUSED)
def test_what_cannot_be_is_refused_in_words(concept: str, wanted: dict[str, Any], part: str) -> None:
    with pytest.raises(ValueError, match=re.escape(part)):
        proposed(entry_of(concept), wanted, LEXICON)


@given(st.sampled_from(["value", "side", "status", "site"]), st.one_of(st.none(), st.text(max_size=30)))
def test_any_wish_is_taken_or_refused_and_never_fails(name: str, wish: str | None) -> None:
    for concept in ("blood_pressure", "murmur", "pulse"):
        try:
            changes = proposed(entry_of(concept), {name: wish}, LEXICON).changes
        except ValueError:
            continue
        assert set(changes) <= {name}


def test_choices_are_those_of_the_lexicon() -> None:
    chosen = choices(entry_of("pulse"), "lower_extremities", LEXICON)
    assert chosen.value
    assert chosen.example == "2+"
    assert ("2+", "normal, expected, brisk") in chosen.grades
    assert "foot" in chosen.sites
    assert not choices(entry_of("midline"), "neck", LEXICON).value
    assert "absent" not in choices(entry_of("heart_rate"), "vital_signs", LEXICON).statuses


def spoken(text: str, doubts: dict[int, str]) -> Record:
    words = [
        Word(word, word, i * 0.4, i * 0.4 + 0.3, 0.5 if i in doubts else 1.0, doubts.get(i))
        for i, word in enumerate(text.split())
    ]
    return record_of(transcript_of_words([words], "a test", 9.0))


OTHERS = [
    ("temperature ninety eight six", {}, "temperature", []),
    ("no murmurs", {0: "'no' was not heard clearly"}, "murmur", ["present"]),
    ("heart rate fifteen", {2: "heard 'fifteen', may be 'fifty'"}, "heart_rate", ["50"]),
    ("left calf swollen", {0: "heard 'left', may be 'right'"}, "swelling", ["right"]),
]


@pytest.mark.parametrize(("text", "doubts", "concept", "expected"), OTHERS)
def test_other_readings_of_doubtful_words(text: str, doubts: dict[int, str], concept: str, expected: list[str]) -> None:
    record = spoken(text, doubts)
    entry = entry_of(concept, record)
    assert [other.text for other in others(entry, record.words, LEXICON)] == expected
    for other in others(entry, record.words, LEXICON):
        wanted = {name: value["text"] if name == "value" else value for name, value in other.changes.items()}
        assert proposed(entry, wanted, LEXICON).changes == other.changes
