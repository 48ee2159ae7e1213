"""Wrongs planted in complete runs, through the real pipeline; the bench prints the figures for many more."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lexicon.schema.matching import Match
from parser.audit import FAMILIES, audit
from parser.lookup import Lookup
from parser.record import Record
from tests.bench.audit import Planted, runs
from tests.parser.audit.building import Said, lexicon, run, said


@pytest.fixture(scope="module")
def planted() -> list[Planted]:
    return list(runs(18, 11))


def test_planted_wrongs_are_found(planted: list[Planted]) -> None:
    wrongs = sum(len(run.wrongs) for run in planted)
    found = sum(len(run.found) for run in planted)
    assert wrongs >= 40
    assert found / wrongs >= 0.95, [(w.kind, w.name) for run in planted for w in set(run.wrongs) - set(run.found)]


def test_little_else_is_remarked(planted: list[Planted]) -> None:
    besides = [remark.message for run in planted for remark in run.besides]
    assert len(besides) <= 0.1 * len(planted), besides


_CONCEPTS = st.sampled_from(
    ["edema", "pulse", "blood_pressure", "bowel_sounds", "tenderness", "soft", "alert", "heart_rate", "murmur"]
)
_ENTRIES = st.lists(
    st.builds(
        lambda concept, region, status, **more: said(region, concept, status, **more),
        _CONCEPTS,
        st.sampled_from(["abdomen", "heart", "neck", "elsewhere"]),
        st.sampled_from(["present", "absent", "normal", "not_assessed", "uncertain", "history", "family"]),
        site=st.sampled_from([None, "abdomen", "lower extremity", "left_lower_quadrant", "nowhere"]),
        side=st.sampled_from([None, "left", "right", "both"]),
        value=st.sampled_from([None, "120/80", "2+", "<2", "98.6", "x", "80/120", "1e9", "stage 2"]),
    ),
    max_size=12,
)


@settings(max_examples=60, deadline=None)
@given(_ENTRIES)
def test_any_record_can_be_audited(entries: list[Said]) -> None:
    remarks = audit(run(*entries), lexicon())
    assert remarks == audit(run(*entries), lexicon())
    families = {name for name, _ in FAMILIES} | {"unit", "timing", "nothing_heard"}
    for remark in remarks:
        assert remark.rule.split(".")[0] in families
        assert remark.source
        assert remark.say
    assert [r.weight for r in remarks] == sorted((r.weight for r in remarks), reverse=True)


@settings(max_examples=30, deadline=None)
@given(_ENTRIES)
def test_what_was_taken_back_changes_nothing(entries: list[Said]) -> None:
    gone = said("abdomen", "rigid_abdomen", superseded_by="e0", text="rigid abdomen")
    rules = [(r.rule, r.severity) for r in audit(run(*entries), lexicon())]
    assert rules == [(r.rule, r.severity) for r in audit(run(*entries, gone), lexicon())]


def record() -> Record:
    return run(said("preparation", "hand_hygiene"), said("heart", "s1_s2"), said("closing", "hand_hygiene"))


@pytest.mark.parametrize(("half", "region"), [("first", "preparation"), ("second", "closing")])
def test_a_matcher_can_ask_for_a_half_of_the_run(half: str, region: str) -> None:
    match = Match.model_validate({"concepts": ["hand_hygiene"], "half": half})
    assert [found.region for found in Lookup.of(record(), lexicon()).find((match,))] == [region]
