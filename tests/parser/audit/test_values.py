"""Plausibility, ranges by age and computed bands, on records made by hand."""

from __future__ import annotations

import pytest

from parser.settings import Settings
from tests.parser.audit.building import Said, bp, rules_of, said, vital


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


@pytest.mark.parametrize(
    ("years", "rate", "outside"),
    [  # PALS 2015, heart rate awake
        (0.01, 99, True),
        (0.01, 100, False),
        (0.01, 205, False),
        (0.01, 206, True),
        (0.5, 190, False),
        (0.5, 191, True),
        (1.5, 98, False),
        (1.5, 97, True),
        (1.5, 140, False),
        (1.5, 141, True),
        (4, 80, False),
        (4, 79, True),
        (4, 120, False),
        (4, 121, True),
        (8, 75, False),
        (8, 74, True),
        (8, 118, False),
        (8, 119, True),
        (13, 60, False),
        (13, 59, True),
        (13, 100, False),
        (13, 101, True),
        (40, 60, False),
        (40, 59, True),
        (40, 100, False),
        (40, 101, True),
        (80, 59, True),
    ],
)
def test_heart_rate_by_age(years: float, rate: int, outside: bool) -> None:
    found = rules_of(vital("heart_rate", str(rate), "/min"), settings=Settings(age_years=years))
    assert any(name.startswith("range.heart_rate") for name in found) is outside


@pytest.mark.parametrize(
    ("years", "rate", "outside"),
    [  # PALS 2015, respirations
        (0.5, 30, False),
        (0.5, 29, True),
        (0.5, 53, False),
        (0.5, 54, True),
        (2, 22, False),
        (2, 38, True),
        (4, 20, False),
        (4, 29, True),
        (7, 18, False),
        (7, 26, True),
        (13, 12, False),
        (13, 21, True),
        (40, 12, False),
        (40, 11, True),
        (40, 20, False),
        (40, 21, True),
    ],
)
def test_respirations_by_age(years: float, rate: int, outside: bool) -> None:
    found = rules_of(vital("respiratory_rate", str(rate), "/min"), settings=Settings(age_years=years))
    assert any(name.startswith("range.respirations") for name in found) is outside


@pytest.mark.parametrize(
    ("years", "pressure", "outside"),
    [  # PALS 2015, blood pressure
        (0.01, "67/35", False),
        (0.01, "66/35", True),
        (0.5, "104/56", False),
        (0.5, "105/56", True),
        (1.5, "86/42", False),
        (1.5, "86/41", True),
        (4, "112/72", False),
        (4, "112/73", True),
        (7, "97/57", False),
        (7, "116/60", True),
        (11, "120/80", False),
        (11, "101/70", True),
        (13, "110/64", False),
        (13, "132/70", True),
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


NEWS = [
    vital("respiratory_rate", "25", "/min"),
    vital("spo2", "96", "%"),
    said("anterior_chest", "room_air", kind="device"),
    bp("124/70"),
    vital("heart_rate", "88", "/min"),
    said("general_survey", "alert"),
    vital("temperature", "37.2", "Cel"),
]


def test_news2_single_three_outranks_a_low_sum() -> None:  # RCP 2017: 3 in one parameter
    remark = rules_of(*NEWS)["range.news2"]
    assert remark.severity == "attention"
    assert "3 in a single parameter" in remark.message


def test_news2_not_summed_but_a_three_is_told() -> None:
    remark = rules_of(*NEWS[:-1])["range.news2_part"]
    assert "not summed (temperature not heard)" in remark.message


def test_orthostatic_fall() -> None:  # Freeman 2011
    fall = (bp("130/80", position="lying"), bp("108/70", position="standing"))
    assert "is reached" in rules_of(*fall)["range.orthostatic_change"].message
