"""The scorer, the mapping and the trained part of the benchmark on nurses' dictations (SYNUR, Corbeil et al. 2025)."""

from __future__ import annotations

import json
from itertools import islice
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lexicon import load
from tests.bench.synur import learning
from tests.bench.synur.features import case_of, schema
from tests.bench.synur.mapping import Plain, rows
from tests.bench.synur.scoring import plain, score
from tests.shared import SHARED, lines_of, needs_shared

TRAINING = f"{SHARED}/data/text/synur_train.jsonl"


def one(name: str, value: Any) -> list[dict[str, Any]]:
    return [{"name": name, "value": value}]


@pytest.mark.parametrize(
    ("gold", "ours", "sets", "options"),
    [
        (one("Nausea", "Yes"), one("Nausea", "yes"), (1, 0, 0), (1, 0, 0)),
        (one("Nausea", "Yes"), one("Nausea", "No"), (0, 1, 1), (0, 1, 1)),
        (one("Nausea", "Yes"), [], (0, 1, 0), (0, 1, 0)),
        (one("Oxygen saturation", 88), one("Oxygen saturation", 88.0), (1, 0, 0), (1, 0, 0)),
        (one("Oxygen saturation", 88), one("Oxygen saturation", "88"), (1, 0, 0), (1, 0, 0)),
        (one("Oxygen saturation", 88), one("Pulse oximetry", 88), (0, 1, 1), (0, 1, 1)),
        (
            one("Urine appearance", ["cloudy", "dark"]),
            one("Urine appearance", ["Dark", "cloudy"]),
            (1, 0, 0),
            (2, 0, 0),
        ),
        (one("Urine appearance", ["cloudy", "dark"]), one("Urine appearance", ["cloudy"]), (0, 1, 1), (1, 1, 0)),
        (one("Pain description", "dull  ache"), one("Pain description", " Dull ache"), (1, 0, 0), (1, 0, 0)),
        (one("Nausea", "Yes") + one("Nausea", "No"), one("Nausea", "Yes"), (1, 0, 0), (1, 0, 0)),
    ],
)
def test_pairs_are_counted_by_the_rules(
    gold: list[dict[str, Any]], ours: list[dict[str, Any]], sets: tuple[int, int, int], options: tuple[int, int, int]
) -> None:
    for reading, expected in (("sets", sets), ("options", options)):
        count = score([gold], [ours], reading)[0]
        assert (count.right, count.missed, count.extra) == expected


@given(st.text(alphabet="ab 1,.-—…\nuhm()é’", max_size=60))
def test_places_of_the_plain_text_stay_true(text: str) -> None:
    reading = Plain.of(text)
    assert len(reading.text) == len(reading.ends) == len(reading.places) - 1
    assert list(reading.places) == sorted(reading.places)
    for i, char in enumerate(reading.text):
        start, end = reading.back(i, i + 1)
        assert 0 <= start < end <= len(text)
        assert char in " 0123456789." or char in text[start:end].lower().replace("’", "'")


def test_numbers_in_words_are_read_as_figures() -> None:
    text = "Saturation is eighty eight percent, pain three out of ten"
    reading = Plain.of(text)
    assert reading.text == "saturation is 88 percent pain 3/10"
    at = reading.text.index("88")
    assert text[slice(*reading.back(at, at + 2))] == "eighty eight"


def test_the_mapping_names_what_the_lexicon_has() -> None:
    files = load().files
    known = load().concepts.keys() | {m.id for m in files["measures"].measures} | {s.id for s in files["scales"].scales}
    assert {concept for row in rows() for concept in row.concept} - known == set()


@needs_shared
def test_the_mapping_names_what_the_schema_has() -> None:
    concepts = schema()
    wrong = []
    for row in rows():
        options = {plain(o) for o in concepts[row.name].options}
        if row.name not in concepts or (row.follows and row.follows not in concepts):
            wrong.append(row.name)
        elif "{" not in row.value and options and plain(row.value) not in options:
            wrong.append(f"{row.name} = {row.value}")
    assert wrong == []
    assert concepts.keys() - {row.name for row in rows()} == set()


@needs_shared
def test_every_value_rests_on_words_of_the_dictation() -> None:
    model = learning.load()
    for row in islice(lines_of(TRAINING), 8):
        case = case_of(row)
        found = learning.decide(model, case)
        assert found
        for one_ in found:
            assert one_.spans
            assert all(0 <= start < end <= len(case.text) for start, end in one_.spans)
            assert one_.inferred == (not case.own(one_.name, plain(one_.value) if schema()[one_.name].select else None))


@needs_shared
def test_predictions_have_the_form_of_the_data_set() -> None:
    model = learning.load()
    for row in islice(lines_of(TRAINING), 8):
        for value in learning.observations(learning.decide(model, case_of(row))):
            concept = schema()[value["name"]]
            assert (value["id"], value["value_type"]) == (concept.id, concept.type)
            said = value["value"] if isinstance(value["value"], list) else [value["value"]]
            if concept.select:
                assert set(said) <= set(concept.options)
            if concept.type == "NUMERIC":
                assert isinstance(value["value"], int | float)


@needs_shared
def test_both_forms_of_a_line_are_read() -> None:
    row = next(lines_of(TRAINING))
    own_form = {"id": row["id"], "transcript": row["transcript"], "observations": json.dumps(row["annotations"])}
    assert case_of(own_form).pairs == case_of(row).pairs
    assert {(p.name, p.value) for p in case_of(own_form).proposals} == {
        (p.name, p.value) for p in case_of(row).proposals
    }


@needs_shared
def test_the_same_dictations_teach_the_same_model() -> None:
    cases = [case_of(row) for row in islice(lines_of(TRAINING), 12)]
    assert learning.train(cases, threshold=0.4) == learning.train(cases, threshold=0.4)


def test_folds_keep_every_dictation_out_once() -> None:
    parts = learning.folds([None] * 23, 5)  # type: ignore[list-item]
    assert sorted(i for _, kept in parts for i in kept) == list(range(23))
    assert all(not set(known) & set(kept) for known, kept in parts)
