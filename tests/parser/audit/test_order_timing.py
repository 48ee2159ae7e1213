"""Order and timing on records made by hand."""

from __future__ import annotations

import pytest

from tests.parser.audit.building import FLAT, SOFT, SOUNDS, Said, apical, bp, rules_of, said


def test_abdomen_in_the_order_taught_gets_no_remark() -> None:
    assert "order.abdomen_order" not in rules_of(FLAT, SOUNDS, SOFT)


@pytest.mark.parametrize("entries", [(FLAT, SOFT, SOUNDS), (SOFT, SOUNDS), (SOUNDS, FLAT, SOFT)])
def test_abdomen_out_of_order(entries: tuple[Said, ...]) -> None:
    remark = rules_of(*entries)["order.abdomen_order"]
    assert remark.region == "abdomen"
    assert len(remark.evidence) == 2
    assert "inspected, then auscultated, then palpated" in remark.message


def test_hands_are_cleaned_before_touching() -> None:
    hygiene = said("preparation", "hand_hygiene", kind="step")
    assert "order.hands_before_touch" in rules_of(bp("118/76"), hygiene)
    assert "order.hands_before_touch" not in rules_of(hygiene, bp("118/76"))


def station(region: str, *concepts: str) -> list[Said]:
    return [said(region, concept) for concept in concepts]


HEAD = station("head_face", "normocephalic", "facial_droop_none", "lice")
EYES = station("eyes", "eomi", "ptosis_none", "tearing_none")
HEART = station("heart", "s1_s2", "rhythm_regular", "gallop_none")
LUNGS = station("posterior_chest", "breathing_even", "breath_sounds_clear", "cough_none")
LEGS = station("lower_extremities", "calves_soft", "warm", "hair")
BELLY = station("abdomen", "flat", "bowel_sounds_active", "soft")


def test_crown_to_sole_gets_no_remark() -> None:
    assert "order.stations" not in rules_of(*HEAD, *EYES, *LUNGS, *HEART, *BELLY, *LEGS)


def test_heart_before_lungs_is_tolerated() -> None:
    assert "order.stations" not in rules_of(*HEAD, *EYES, *HEART, *LUNGS, *BELLY, *LEGS)


def test_a_short_look_elsewhere_is_no_station() -> None:
    assert "order.stations" not in rules_of(*HEAD, *EYES, LEGS[0], *LUNGS, *HEART, *BELLY, *LEGS)


def test_a_moved_station_is_named_once() -> None:
    remark = rules_of(*HEAD, *LEGS, *EYES, *LUNGS, *HEART, *BELLY)["order.stations"]
    assert remark.message.startswith("Lower extremities came in line 4, before")


def test_lungs_one_side_first() -> None:
    places = [(side, site) for side in ("left", "right") for site in ("lung_apex", "lung_base")]
    heard = [said("posterior_chest", "breath_sounds_clear", site=site, side=side) for side, site in places]
    assert "order.lungs_side_to_side" in rules_of(*heard)
    mirrored = [heard[0], heard[2], heard[1], heard[3]]
    assert "order.lungs_side_to_side" not in rules_of(*mirrored)


def test_apical_pulse_after_a_full_minute_of_quiet() -> None:
    before = said("heart", "s1_s2")
    assert "timing.apical_pulse" not in rules_of(before, apical(61), timed=True)


def test_apical_pulse_too_quick_says_how_many_seconds_were_seen() -> None:
    remark = rules_of(said("heart", "s1_s2"), apical(9), timed=True)["timing.apical_pulse"]
    assert "9 seconds" in remark.message
    assert "Silence is no proof" in remark.message


def test_time_since_counting_was_announced_counts() -> None:
    start = said("heart", "count_full_minute", text="start counting", kind="step")
    halfway = said("heart", "s1_s2", text="still regular", pause=30)
    assert "timing.apical_pulse" not in rules_of(start, halfway, apical(30), timed=True)


def test_time_said_but_not_seen_is_a_note() -> None:
    remark = rules_of(said("heart", "s1_s2"), apical(3, "apical pulse 76 over a full minute"), timed=True)
    assert remark["timing.apical_pulse"].severity == "note"
    assert "the time was said" in remark["timing.apical_pulse"].message


def test_in_text_only_the_words_can_tell() -> None:
    assert "timing.apical_pulse" in rules_of(apical(0))
    assert "timing.apical_pulse" not in rules_of(apical(0, "apical pulse 76 counted for one full minute"))


def test_absent_bowel_sounds_take_five_minutes() -> None:
    def absent(pause: float) -> Said:
        return said("abdomen", "bowel_sounds", "absent", text="no bowel sounds", pause=pause)

    assert "5 minutes" in rules_of(FLAT, absent(40), timed=True)["timing.bowel_sounds_absent"].message
    assert "timing.bowel_sounds_absent" not in rules_of(FLAT, absent(300), timed=True)
