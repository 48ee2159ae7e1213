"""Each family of rules on records made by hand: what fires, what must not, and what the remark says."""

from __future__ import annotations

import pytest

from parser.audit import audit, coverage
from parser.record import Amendment, Remark
from parser.settings import Settings
from tests.parser.audit.building import Said, bp, lexicon, run, said, vital


def rules_of(*entries: Said, timed: bool = False, **options: object) -> dict[str, Remark]:
    """Rule -> remark for a record of these entries; remarks on what is missing left out."""
    remarks = audit(run(*entries, timed=timed), lexicon(), **options)  # type: ignore[arg-type]
    return {remark.rule: remark for remark in remarks if not remark.rule.startswith("missing")}


# --- Order -----------------------------------------------------------------------------------------------

SOFT = said("abdomen", "soft", site="abdomen", text="abdomen soft")
SOUNDS = said("abdomen", "bowel_sounds_active", site="all_four_quadrants", text="bowel sounds active in all four quadrants")
FLAT = said("abdomen", "flat", site="abdomen", text="abdomen flat")


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


# --- Timing ----------------------------------------------------------------------------------------------


def apical(pause: float, text: str = "apical pulse 76 regular") -> Said:
    return said("heart", "heart_rate", value="76", unit="/min", qualifiers=("apical",), text=text, pause=pause)


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


# --- Sides -----------------------------------------------------------------------------------------------


def pulse(side: str | None, site: str = "radial_artery", value: str = "2+") -> Said:
    return said("upper_extremities", "pulse", site=site, side=side, value=value, kind="scale")


def test_one_side_alone() -> None:
    remark = rules_of(pulse("left"))["sides.pulses"]
    assert "only the left side" in remark.message
    assert "right pulse" in (remark.say or "")


@pytest.mark.parametrize("sides", [("left", "right"), ("both",), (None,), ("left", "both")])
def test_both_sides_said(sides: tuple[str | None, ...]) -> None:
    assert "sides.pulses" not in rules_of(*(pulse(side) for side in sides))


def test_each_place_is_judged_for_itself() -> None:
    assert "sides.pulses" in rules_of(pulse("left"), pulse("right", "dorsalis_pedis_artery"))


def test_quadrants() -> None:
    some = [said("abdomen", "bowel_sounds_active", site=site) for site in ("right_lower_quadrant", "left_upper_quadrant")]
    assert "right upper quadrant" in rules_of(*some)["sides.quadrants"].message
    assert "sides.quadrants" not in rules_of(SOUNDS)


# --- Details ---------------------------------------------------------------------------------------------


def test_temperature_needs_its_place() -> None:
    assert "detail.temperature_site" in rules_of(vital("temperature", "36.8", "Cel", text="temperature 36.8"))
    oral = vital("temperature", "36.8", "Cel", text="temperature 36.8 oral", qualifiers=("oral",))
    assert "detail.temperature_site" not in rules_of(oral)


def test_saturation_needs_air_or_oxygen() -> None:
    assert "detail.saturation_air" in rules_of(vital("spo2", "98", "%", text="sat 98"))
    air = said("anterior_chest", "room_air", text="on room air", kind="device")
    assert "detail.saturation_air" not in rules_of(vital("spo2", "98", "%", text="sat 98"), air)


# --- Contradictions --------------------------------------------------------------------------------------


def edema(status: str, text: str = "", **more: object) -> Said:
    return said("lower_extremities", "edema", status, text=text or f"edema {status}", **more)


def test_absent_and_present() -> None:
    remark = rules_of(edema("absent"), edema("present", site="ankle", side="left", value="2+"))["contradiction.edema"]
    assert len(remark.evidence) == 2
    assert remark.severity == "attention"


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
    sizes = [said("eyes", "pupil_size", site="pupil", side=side, value=value, unit="mm", kind="scale")
             for side, value in (("left", "3"), ("right", "5"))]
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
    parts = [said("neurological", f"gcs_{name}", value=value, kind="scale")
             for name, value in (("eye", "4"), ("verbal", "5"), ("motor", "6"))]
    wrong = said("neurological", "gcs_total", value="13", kind="scale")
    assert "contradiction.glasgow_coma_scale" in rules_of(*parts, wrong)
    right = said("neurological", "gcs_total", value="15", kind="scale")
    assert "contradiction.glasgow_coma_scale" not in rules_of(*parts, right)


# --- Plausibility ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("entry", "rule"),
    [
        (vital("spo2", "108", "%"), "implausible.spo2"),
        (bp("80/120"), "implausible.blood_pressure"),
        (bp("400/80"), "implausible.blood_pressure"),
        (vital("heart_rate", "720", "/min"), "implausible.heart_rate"),
        (vital("temperature", "98.6", "Cel"), "unit.temperature"),
        (vital("temperature", "37", "[degF]"), "unit.temperature"),
        (vital("temperature", "120", "[degF]"), "implausible.temperature"),
        (said("neurological", "gcs_total", value="17", kind="scale"), "implausible.gcs_total"),
        (vital("height", "68", "cm"), "unit.height"),
    ],
)
def test_what_cannot_be_true(entry: Said, rule: str) -> None:
    found = rules_of(entry)
    assert rule in found
    assert not [name for name in found if name.startswith(("range", "caution"))]


def test_weight_in_the_wrong_unit_shows_in_the_index() -> None:
    record = (vital("weight", "350", "kg"), vital("height", "170", "cm"))
    assert "unit.body_mass_index" in rules_of(*record)


@pytest.mark.parametrize("pressure", ["118/76", "40/10", "300/200"])
def test_plausible_pressures(pressure: str) -> None:
    assert "implausible.blood_pressure" not in rules_of(bp(pressure))


# --- Ranges ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("years", "rate", "outside"),
    [  # PALS 2015, heart rate awake
        (0.01, 99, True), (0.01, 100, False), (0.01, 205, False), (0.01, 206, True), (0.5, 190, False), (0.5, 191, True),
        (1.5, 98, False), (1.5, 97, True), (1.5, 140, False), (1.5, 141, True), (4, 80, False), (4, 79, True),
        (4, 120, False), (4, 121, True), (8, 75, False), (8, 74, True), (8, 118, False), (8, 119, True),
        (13, 60, False), (13, 59, True), (13, 100, False), (13, 101, True),
        (40, 60, False), (40, 59, True), (40, 100, False), (40, 101, True), (80, 59, True),
    ],
)
def test_heart_rate_by_age(years: float, rate: int, outside: bool) -> None:
    found = rules_of(vital("heart_rate", str(rate), "/min"), settings=Settings(age_years=years))
    assert any(name.startswith("range.heart_rate") for name in found) is outside


@pytest.mark.parametrize(
    ("years", "rate", "outside"),
    [  # PALS 2015, respirations
        (0.5, 30, False), (0.5, 29, True), (0.5, 53, False), (0.5, 54, True), (2, 22, False), (2, 38, True),
        (4, 20, False), (4, 29, True), (7, 18, False), (7, 26, True), (13, 12, False), (13, 21, True),
        (40, 12, False), (40, 11, True), (40, 20, False), (40, 21, True),
    ],
)
def test_respirations_by_age(years: float, rate: int, outside: bool) -> None:
    found = rules_of(vital("respiratory_rate", str(rate), "/min"), settings=Settings(age_years=years))
    assert any(name.startswith("range.respirations") for name in found) is outside


@pytest.mark.parametrize(
    ("years", "pressure", "outside"),
    [  # PALS 2015, blood pressure
        (0.01, "67/35", False), (0.01, "66/35", True), (0.5, "104/56", False), (0.5, "105/56", True),
        (1.5, "86/42", False), (1.5, "86/41", True), (4, "112/72", False), (4, "112/73", True), (7, "97/57", False),
        (7, "116/60", True), (11, "120/80", False), (11, "101/70", True), (13, "110/64", False), (13, "132/70", True),
    ],
)
def test_blood_pressure_by_age(years: float, pressure: str, outside: bool) -> None:
    found = rules_of(bp(pressure), settings=Settings(age_years=years))
    assert any(name.startswith(("range.systolic", "range.diastolic")) for name in found) is outside


def test_an_age_that_was_said_counts_before_the_settings() -> None:
    age = said("history", "age", value="4", unit="a")
    assert "range.heart_rate_preschool" in rules_of(age, vital("heart_rate", "130", "/min"))


def test_pressure_category_follows_the_table_chosen() -> None:
    assert "stage 1" in rules_of(bp("118/84"))["range.pressure_category"].message
    esc = rules_of(bp("118/84"), settings=Settings(pressure_table="esc_2024"))["range.pressure_category"]
    assert "elevated" in esc.message
    assert "ESC 2024" in esc.message
    assert "range.pressure_category" not in rules_of(bp("118/76"))


def test_temperature_ranges_follow_the_place() -> None:
    def at(place: str) -> Said:
        return vital("temperature", "37.6", "Cel", text=f"temperature 37.6 {place}", qualifiers=(place,))

    assert "range.temperature_oral" in rules_of(at("oral"))
    assert not [name for name in rules_of(at("rectal")) if name.startswith("range.temperature")]


NEWS = [vital("respiratory_rate", "25", "/min"), vital("spo2", "96", "%"), said("anterior_chest", "room_air", kind="device"),
        bp("124/70"), vital("heart_rate", "88", "/min"), said("general_survey", "alert"),
        vital("temperature", "37.2", "Cel")]


def test_news2_single_three_outranks_a_low_sum() -> None:  # RCP 2017: 3 in one parameter
    remark = rules_of(*NEWS)["range.news2"]
    assert remark.severity == "attention"
    assert "3 in a single parameter" in remark.message


def test_news2_not_summed_but_a_three_is_told() -> None:
    remark = rules_of(*NEWS[:-1])["range.news2"]
    assert "not summed (temperature not heard)" in remark.message


def test_orthostatic_fall() -> None:  # Freeman 2011
    fall = (bp("130/80", position="lying"), bp("108/70", position="standing"))
    assert "is reached" in rules_of(*fall)["range.orthostatic_change"].message


# --- Cautions --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("entries", "rule", "severity"),
    [
        ((said("head_face", "facial_droop", side="left"),), "caution.stroke_signs", "urgent"),
        ((vital("spo2", "88", "%"),), "caution.saturation_low", "urgent"),
        ((bp("88/50"),), "caution.pressure_low", "urgent"),
        ((bp("190/100"),), "caution.pressure_high", "attention"),
        ((vital("temperature", "102.4", "[degF]"),), "caution.temperature_extreme", "attention"),
        ((vital("temperature", "100.4", "[degF]"),), "caution.fever", "note"),
        ((said("back_sacrum_lines", "nonblanching_erythema", site="sacrum"),), "caution.pressure_injury", "note"),
        ((said("posterior_chest", "breath_sounds", "absent", side="left"),), "caution.breath_sounds_absent", "urgent"),
        ((vital("pain_score", "8"),), "caution.pain_severe", "attention"),
        ((said("abdomen", "bowel_sounds", "absent"), said("abdomen", "distension")), "caution.bowel_silent_distended",
         "attention"),
    ],
)
def test_cautions_fire(entries: tuple[Said, ...], rule: str, severity: str) -> None:
    remark = rules_of(*entries)[rule]
    assert remark.severity == severity
    assert "By local policy" in remark.message


@pytest.mark.parametrize(
    "entry",
    [
        said("head_face", "facial_droop", "absent"), said("head_face", "facial_droop", "history"),
        said("head_face", "facial_droop", text="chronic left facial droop"), vital("spo2", "90", "%"), bp("90/60"),
        said("head_face", "facial_droop", "family"), said("neurological", "confusion", text="confusion at baseline"),
    ],
)
def test_what_is_denied_past_or_known_never_fires(entry: Said) -> None:
    assert not [name for name in rules_of(entry) if name.startswith("caution")]


def test_adult_limits_do_not_hold_for_children() -> None:
    found = rules_of(bp("85/50"), settings=Settings(age_years=1.5))
    assert "caution.pressure_low" not in found


def test_a_caution_makes_the_range_remark_needless() -> None:
    found = rules_of(vital("heart_rate", "140", "/min"))
    assert "caution.heart_rate_extreme" in found
    assert "range.heart_rate_adult" not in found


# --- Confirm, empty, unknown -------------------------------------------------------------------------------


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
    with pytest.raises(ValueError, match="no checklist 'nonsense'; known are: .*complete"):
        audit(run(FLAT), lexicon(), "nonsense")


# --- Completeness ------------------------------------------------------------------------------------------


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
    wrongs = (SOFT, SOUNDS, bp("80/120"), pulse("left"), edema("absent"), edema("present"), vital("spo2", "85", "%"),
              vital("temperature", "38.4", "Cel"), apical(0), bp("150/95"))
    for remark in audit(run(*wrongs), lexicon()):
        assert remark.source, remark.rule
        assert remark.say, remark.rule
        assert remark.region or remark.rule == "missing.stations", remark.rule
        assert remark.message.endswith((".", "?")), remark.message
