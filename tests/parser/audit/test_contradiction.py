"""Contradictions on records made by hand: what cannot be so together, and what can."""

from __future__ import annotations

from parser.audit import audit
from parser.record import Amendment
from tests.parser.audit.building import edema, lexicon, rules_of, run, said, vital


def test_absent_and_present() -> None:
    remark = rules_of(edema("absent"), edema("present", site="ankle", side="left", value="2+"))["contradiction.edema"]
    assert len(remark.evidence) == 2
    assert remark.severity == "attention"


def test_a_part_belongs_to_the_whole_however_the_record_writes_it() -> None:
    whole = edema("absent", site="lower extremity")
    ankles = said("lower_extremities", "edema_pitting", site="ankle", side="both", value="2+", text="pitting edema 2+")
    assert "contradiction.edema" in rules_of(whole, ankles)


def test_other_places_do_not_contradict() -> None:
    arms = said("upper_extremities", "edema", "absent")
    assert "contradiction.edema" not in rules_of(arms, edema("present", site="ankle"))
    assert "contradiction.edema" not in rules_of(edema("absent", side="right"), edema("present", side="left"))


def test_a_narrower_denial_does_not_contradict() -> None:
    narrow = edema("absent", qualifiers=("pitting",))
    assert "contradiction.edema" not in rules_of(narrow, edema("present", value="1+"))


def test_a_correction_is_no_contradiction() -> None:
    assert "contradiction.edema" not in rules_of(edema("absent", superseded_by="e2"), edema("present"))
    amendment = Amendment(id="a1", supersedes="e1", entry="e2", kind="spoken", by="voice", at=None, evidence=None)
    record = run(edema("absent"), edema("present"), amendments=(amendment,))
    assert not [r for r in audit(record, lexicon()) if r.rule == "contradiction.edema"]


def test_change_over_time_is_no_contradiction() -> None:
    later = edema("present", text="on reassessment two plus edema")
    assert "contradiction.edema" not in rules_of(edema("absent"), said("neck", "supple"), later)


def test_equal_pupils_of_two_sizes() -> None:
    sizes = [
        said("eyes", "pupil_size", site="pupil", side=side, value=value, unit="mm", kind="scale")
        for side, value in (("left", "3"), ("right", "5"))
    ]
    perrla = said("eyes", "perrla", site="pupil")
    assert "left 3 and right 5" in rules_of(perrla, *sizes)["contradiction.equal_pupils"].message
    assert "contradiction.equal_pupils" not in rules_of(perrla, sizes[0])


def test_alert_with_a_low_glasgow_scale() -> None:
    nine = said("neurological", "gcs_total", value="9", kind="scale")
    assert "contradiction.alert_low_gcs" in rules_of(said("general_survey", "alert"), nine)


def test_room_air_with_oxygen() -> None:
    air = said("anterior_chest", "room_air", kind="device", text="on room air")
    litres = vital("oxygen_flow", "2", "L/min", text="two liters")
    assert "contradiction.room_air_oxygen" in rules_of(air, litres)


def test_total_that_differs_from_its_parts() -> None:
    parts = [
        said("neurological", f"gcs_{name}", value=value, kind="scale")
        for name, value in (("eye", "4"), ("verbal", "5"), ("motor", "6"))
    ]
    wrong = said("neurological", "gcs_total", value="13", kind="scale")
    assert "contradiction.glasgow_coma_scale" in rules_of(*parts, wrong)
    right = said("neurological", "gcs_total", value="15", kind="scale")
    assert "contradiction.glasgow_coma_scale" not in rules_of(*parts, right)
