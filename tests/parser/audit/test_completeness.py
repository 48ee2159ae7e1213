"""Completeness, marks to confirm, and runs that hold nothing."""

from __future__ import annotations

import pytest

from parser.audit import audit, coverage
from tests.parser.audit.building import (
    FLAT,
    SOFT,
    SOUNDS,
    apical,
    bp,
    edema,
    lexicon,
    pulse,
    rules_of,
    run,
    said,
    vital,
)


def test_marks_to_confirm_are_one_remark() -> None:
    doubtful = [vital("heart_rate", str(70 + n), "/min", confirm="heard weakly") for n in range(9)]
    remark = rules_of(*doubtful)["confirm"]
    assert remark.message.startswith("9 entries are marked")
    assert "and 4 more" in remark.message


def test_a_run_without_findings_gets_one_kind_remark() -> None:
    remarks = audit(run(), lexicon())
    assert [remark.rule for remark in remarks] == ["nothing_heard"]
    assert remarks[0].severity == "note"


def test_an_unknown_checklist_is_named_with_those_known() -> None:
    with pytest.raises(ValueError, match=r"no checklist 'nonsense'; known are: .*complete"):
        audit(run(FLAT), lexicon(), "nonsense")


def test_coverage_of_stations() -> None:
    found = coverage(run(SOUNDS, said("preparation", "hand_hygiene", kind="step")), lexicon())
    state, missing = found["abdomen"]
    assert state == "partial"
    assert "abdomen soft and nontender to light palpation" in missing
    assert found["heart"][0] == "missing"
    assert set(found) >= set(lexicon().regions)


def test_not_assessed_with_a_reason_is_documented() -> None:
    deferred = said("breasts_axillae", "breast_exam", "not_assessed", text="breast exam deferred at her request")
    assert coverage(run(deferred), lexicon())["breasts_axillae"] == ("documented", ())
    gait = said("musculoskeletal", "gait", "not_assessed", text="gait not assessed because she is on bed rest")
    assert "gait steady" not in coverage(run(gait), lexicon())["musculoskeletal"][1]


def test_what_is_past_does_not_document_the_present() -> None:
    assert coverage(run(said("heart", "murmur", "history")), lexicon())["heart"][1].count("no murmurs, rubs or gallops")


def test_superseded_entries_do_not_count() -> None:
    gone = said("heart", "s1_s2", superseded_by="e9")
    assert coverage(run(gone), lexicon())["heart"][0] == "missing"


def test_many_silent_stations_are_told_in_one_remark() -> None:
    remarks = audit(run(FLAT), lexicon())
    silent = [remark for remark in remarks if remark.rule == "missing.stations"]
    assert len(silent) == 1
    assert len([remark for remark in remarks if remark.rule.startswith("missing")]) <= 6


def test_focused_lists_want_only_their_stations() -> None:
    missing = {remark.region for remark in audit(run(FLAT), lexicon(), "respiratory") if "missing." in remark.rule}
    assert not missing & {"eyes", "abdomen", "lower_extremities"}


def test_every_remark_says_where_why_source_and_what_to_say() -> None:
    wrongs = (
        SOFT,
        SOUNDS,
        bp("80/120"),
        pulse("left"),
        edema("absent"),
        edema("present"),
        vital("spo2", "85", "%"),
        vital("temperature", "38.4", "Cel"),
        apical(0),
        bp("150/95"),
    )
    for remark in audit(run(*wrongs), lexicon()):
        assert remark.source, remark.rule
        assert remark.say, remark.rule
        assert remark.region or remark.rule == "missing.stations", remark.rule
        assert remark.message.endswith((".", "?")), remark.message
