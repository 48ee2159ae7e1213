"""How entries are put into words, on lines whose right wording a nurse would agree on (common practice)."""

from __future__ import annotations

import os

import pytest

from lexicon import load
from lexicon.schema.note import Template
from parser.note.document import WORDINGS, paragraphs
from parser.note.grammar import grammar_of, joined, sentence
from tests.parser.note.runs import GOLDEN, NAMES, dictated, invented_run, sample


def written(text: str, wording: str = "narrative") -> str:
    return " ".join(paragraph.text for paragraph in paragraphs(dictated(text), load(), wording))


@pytest.mark.parametrize(
    ("said", "wanted"),
    [
        ("skin warm dry and intact", "Skin is warm, dry and intact."),
        ("heart: no murmurs rubs or gallops", "No murmurs, pericardial friction rub or gallops."),
        ("mouth: lips pink and moist", "Lips are pink and moist."),
        (
            "blood pressure one eighteen over seventy six right arm sitting",
            "Blood pressure 118/76 mmHg, right arm, sitting.",
        ),
        ("temperature ninety eight point four fahrenheit oral", "Temperature 98.4 °F, oral."),
        ("capillary refill less than two seconds", "Capillary refill less than 2 seconds"),
        ("one plus pitting edema of the left ankle", "1+ pitting edema of the left ankle."),
        ("radial pulses two plus bilaterally", "Radial pulses 2+ bilaterally."),
        ("hand hygiene performed", "Hand hygiene performed."),
        ("denies nausea and vomiting", "Denies nausea or vomiting."),
        ("history of hypertension", "History of hypertension."),
        ("alert and oriented times four", "Oriented x4."),
        ("redness and swelling of the right calf", "Redness and swelling of the right calf noted."),
        ("twenty gauge peripheral i v in the left forearm", "20 gauge peripheral IV in the left forearm."),
        ("genital examination deferred", "Genital examination deferred."),
    ],
)
def test_a_line_is_worded_as_a_nurse_would(said: str, wanted: str) -> None:
    assert wanted in written(said)


def test_a_correction_leaves_only_the_later_value_in_the_note() -> None:
    text = written("radial pulse seventy six\nscratch that radial pulse eighty two")
    assert "82" in text
    assert "76" not in text


def test_nothing_said_gives_no_sentence() -> None:
    assert paragraphs(dictated("good morning everyone"), load(), "narrative") == ()


def test_doubt_is_marked_and_not_resolved() -> None:
    record = dictated("questionable murmur")
    marks = [each.shown("(confirm: {reason})") for p in paragraphs(record, load(), "narrative") for each in p.sentences]
    entries = [e for _, e in record.entries().values()]
    assert [e.status for e in entries] == ["uncertain"]
    assert any("ossible" in mark or "uestionable" in mark or "confirm" in mark for mark in marks)


def test_an_exception_note_leaves_out_what_is_expected() -> None:
    text = written("skin warm dry and intact\nheart: systolic murmur\nlungs clear bilaterally", "exception")
    assert "murmur" in text
    assert "clear" not in text
    assert "warm" not in text


def test_a_handoff_has_its_four_parts_and_recommends_only_what_a_caution_says() -> None:
    quiet = paragraphs(dictated("skin warm dry and intact"), load(), "handoff")
    assert [p.title for p in quiet] == ["Situation", "Background", "Assessment", "Recommendation"]
    assert "local policy decides" in quiet[-1].text
    urgent = paragraphs(sample("hurried"), load(), "handoff")
    assert "NEWS2" in urgent[-1].text


@pytest.mark.parametrize("wording", WORDINGS)
@pytest.mark.parametrize("number", range(8))
def test_no_error_prone_writing_is_in_a_note(number: int, wording: str) -> None:
    """Joint Commission 'Do Not Use' list (2004, fact sheets 2017, 2018); ISMP list (2021)."""
    avoided = grammar_of(load()).avoided
    for paragraph in paragraphs(invented_run(number), load(), wording):
        told = [each.text for each in paragraph.sentences if not each.told]
        assert [text for text in told if avoided.search(text)] == []


@pytest.mark.parametrize(
    "bad",
    [
        "10 u",
        "5 IU",
        "qd",
        "q.o.d.",
        "1.0 mg",
        ".5 mg",
        "MSO4",
        "10 cc",
        "5 µg",
        "AU",
        "OD",
        "D/C",
        "qhs",
        "SC",
        "ss",
        "per os",
        "< 10",
        "@ home",
        "& so",
        "WNL",
        "SOB",
    ],
)
def test_the_list_knows_each_item(bad: str) -> None:
    """One for each line of the two lists that notes could hold."""
    assert grammar_of(load()).avoided.search(f"given {bad} today")


@pytest.mark.parametrize("good", ["98.0 °F", "0.5 mg", "118/76 mmHg", "2+ edema", "S1 and S2", "IV in the left hand"])
def test_the_list_leaves_good_writing_alone(good: str) -> None:
    assert not grammar_of(load()).avoided.search(good)


@pytest.mark.parametrize(
    ("label", "shape"),
    [
        ("warm", "adjective"),
        ("clean, dry and intact", "adjective"),
        ("slow to answer", "adjective"),
        ("rash", "noun"),
        ("turgor good", "clause"),
        ("gag reflex intact", "clause"),
        ("appears stated age", "verb"),
        ("good air entry", "noun"),
        ("fluid behind the eardrum", "noun"),
        ("palate does not rise evenly", "verb"),
    ],
)
def test_labels_are_told_apart_by_their_words(label: str, shape: str) -> None:
    assert grammar_of(load()).shape(label)[0] == shape


@pytest.mark.parametrize(
    ("one", "many"),
    [
        ("calf", "calves"),
        ("foot", "feet"),
        ("sclera", "sclerae"),
        ("apex of the heart", "apices of the heart"),
        ("rash", "rashes"),
        ("body", "bodies"),
        ("lips", "lips"),
        ("mass", "masses"),
    ],
)
def test_plurals(one: str, many: str) -> None:
    assert grammar_of(load()).plural(one) == many


@pytest.mark.parametrize(
    ("text", "unit", "prose"),
    [
        ("<2", "s", "less than 2 seconds"),
        ("98", "%", "98%"),
        ("2x3", "cm", "2 x 3 cm"),
        ("2-3", None, "2 to 3"),
        ("20", "{gauge}", "20 gauge"),
        ("5/5", None, "5/5"),
        ("1:2", None, "1:2"),
        (">3", "s", "greater than 3 seconds"),
    ],
)
def test_values_are_written_out(text: str, unit: str | None, prose: str) -> None:
    assert grammar_of(load()).quantity(text, unit) == prose


def test_lists_and_sentences() -> None:
    assert [joined(["a"]), joined(["a", "b"]), joined(["a", "b", "c"], "or")] == ["a", "a and b", "a, b or c"]
    assert [sentence("no rash"), sentence(""), sentence("done.")] == ["No rash.", "", "Done."]


def test_a_template_with_an_unknown_field_is_refused() -> None:
    with pytest.raises(ValueError, match=r"unknown field \{patient\}"):
        Template(id="x", text="For {patient}.")


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("wording", WORDINGS)
def test_the_samples_read_as_before(name: str, wording: str) -> None:
    """Golden notes; ``UPDATE_GOLDEN=1`` writes them anew, to be read before they are kept."""
    path = GOLDEN / f"{name}.{wording}.txt"
    note = "\n\n".join(f"{p.title}\n{p.text}" for p in paragraphs(sample(name), load(), wording)) + "\n"
    if os.environ.get("UPDATE_GOLDEN"):
        path.write_text(note)
    assert note == path.read_text()
