"""Scores against published tables and worked examples, each with its source beside it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from parser.record import Computed, Record
from parser.scores import computed, formulas
from parser.scores.tables import age_bands, band, table
from parser.settings import Settings
from tests.parser.audit.building import Said, bp, lexicon, run, said, vital

TEMPERATURE = "36.8"


def value_of(record: Record, name: str, settings: Settings | None = None) -> Computed | None:
    found = computed(record, lexicon(), settings or Settings())
    return next((value for value in found if value.name == name), None)


def number_of(record: Record, name: str, settings: Settings | None = None) -> float | None:
    found = value_of(record, name, settings)
    return found.value if found else None


# --- NEWS2: Royal College of Physicians 2017, Chart 1: both edges of every band ------------------------------

NEWS2_EDGES = [
    ("news2_respiration", [(3, 0, 8), (1, 9, 11), (0, 12, 20), (2, 21, 24), (3, 25, 60)]),
    ("news2_spo2_1", [(3, 60, 91), (2, 92, 93), (1, 94, 95), (0, 96, 100)]),
    ("news2_systolic", [(3, 50, 90), (2, 91, 100), (1, 101, 110), (0, 111, 219), (3, 220, 280)]),
    ("news2_pulse", [(3, 25, 40), (1, 41, 50), (0, 51, 90), (1, 91, 110), (2, 111, 130), (3, 131, 200)]),
    ("news2_temperature", [(3, 30.0, 35.0), (1, 35.1, 36.0), (0, 36.1, 38.0), (1, 38.1, 39.0), (2, 39.1, 42.0)]),
]


@pytest.mark.parametrize(
    ("name", "points", "value"),
    [(name, points, edge) for name, bands in NEWS2_EDGES for points, low, high in bands for edge in (low, high)],
)
def test_news2_band_edges(name: str, points: int, value: float) -> None:
    row = band(table(lexicon(), name), value)
    assert row is not None
    assert row.points == points


@pytest.mark.parametrize(
    ("oxygen", "points", "low", "high"),
    [  # RCP 2017, SpO2 scale 2
        (False, 3, 60, 83),
        (False, 2, 84, 85),
        (False, 1, 86, 87),
        (False, 0, 88, 92),
        (False, 0, 93, 100),
        (True, 3, 60, 83),
        (True, 2, 84, 85),
        (True, 1, 86, 87),
        (True, 0, 88, 92),
        (True, 1, 93, 94),
        (True, 2, 95, 96),
        (True, 3, 97, 100),
    ],
)
def test_news2_scale_2_edges(oxygen: bool, points: int, low: int, high: int) -> None:
    for value in (low, high):
        row = band(table(lexicon(), "news2_spo2_2"), value, oxygen)
        assert row is not None
        assert row.points == points


@given(st.floats(25, 45))
def test_every_temperature_has_one_band(value: float) -> None:
    assert band(table(lexicon(), "news2_temperature"), value) is not None


Values = tuple[int, int, bool, int, int, float]


def observations(*values: float) -> list[Said]:
    """Respirations, saturation, on oxygen, systolic pressure, pulse and temperature, of someone alert."""
    rr, spo2, oxygen, sbp, hr, temperature = values
    air = said("anterior_chest", "supplemental_oxygen" if oxygen else "room_air", kind="device")
    return [
        vital("respiratory_rate", str(rr), "/min"),
        vital("spo2", str(spo2), "%"),
        air,
        bp(f"{sbp}/60"),
        vital("heart_rate", str(hr), "/min"),
        said("general_survey", "alert"),
        vital("temperature", str(temperature), "Cel"),
    ]


@pytest.mark.parametrize(
    ("values", "scale", "total"),
    [  # worked examples computed from the chart (trade reference, section 1.4)
        ((16, 97, False, 122, 78, 36.8), 1, 0),
        ((22, 94, False, 108, 112, 38.4), 1, 7),
        ((25, 96, False, 124, 88, 37.2), 1, 3),
        ((20, 95, True, 118, 92, 36.9), 2, 5),
        ((20, 95, True, 118, 92, 36.9), 1, 4),
    ],
)
def test_news2_worked_examples(values: Values, scale: int, total: int) -> None:
    settings = Settings(news2_scale=2 if scale == 2 else 1)
    assert number_of(run(*observations(*values)), "news2", settings) == total


def test_news2_names_the_single_three() -> None:
    found = value_of(run(*observations(25, 96, False, 124, 88, 37.2)), "news2")
    assert found is not None
    assert "single 3 (respirations)" in (found.note or "")
    assert len(found.from_) == 7


def test_news2_takes_fahrenheit_rounded_to_one_decimal() -> None:
    entries = observations(16, 97, False, 122, 78, 36.8)
    entries[-1] = vital("temperature", "100.5", "[degF]")  # 38.06 -> 38.1: one point
    assert number_of(run(*entries), "news2") == 1


@pytest.mark.parametrize("left_out", range(7))
def test_news2_is_never_summed_from_an_incomplete_set(left_out: int) -> None:
    entries = observations(16, 97, False, 122, 78, 36.8)
    del entries[left_out]
    found = value_of(run(*entries), "news2")
    assert found is not None
    assert found.value is None
    assert len(found.missing) == 1
    assert "not summed" in (found.note or "")


def test_news2_is_for_people_of_16_and_over() -> None:
    assert value_of(run(*observations(16, 97, False, 122, 78, 36.8)), "news2", Settings(age_years=9)) is None


# --- Blood pressure ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pressure", "mean", "pulse"),
    [("120/80", 93.3, 40), ("118/76", 90.0, 42), ("90/50", 63.3, 40), ("100/84", 89.3, 16), ("168/70", 102.7, 98)],
)  # MAP = DBP + (SBP - DBP)/3; PP = SBP - DBP (trade reference, section 1.7)
def test_mean_and_pulse_pressure(pressure: str, mean: float, pulse: float) -> None:
    record = run(bp(pressure))
    assert number_of(record, "mean_arterial_pressure") == mean
    assert number_of(record, "pulse_pressure") == pulse


@pytest.mark.parametrize(("rate", "pressure", "index"), [("80", "120/80", 0.67), ("112", "96/60", 1.17)])
def test_shock_index(rate: str, pressure: str, index: float) -> None:  # Allgower and Burri 1967
    assert number_of(run(bp(pressure), vital("heart_rate", rate, "/min")), "shock_index") == index


@pytest.mark.parametrize(
    ("before", "after", "reached"),
    [  # Freeman 2011: a fall of 20 systolic or 10 diastolic, lying to standing
        ("130/80", "110/78", True),
        ("130/80", "111/71", False),
        ("130/80", "125/70", True),
        ("130/80", "131/82", False),
    ],
)
def test_orthostatic_consensus(before: str, after: str, reached: bool) -> None:
    record = run(bp(before, position="lying"), bp(after, position="standing"))
    note = (value_of(record, "orthostatic_change") or pytest.fail("no change")).note or ""
    assert ("is reached" in note) is reached


@pytest.mark.parametrize(
    ("before", "after", "reached"),
    [("130/80", "115/78", True), ("130/80", "116/74", False), ("130/80", "128/73", True)],
)  # Shaw 2017, sitting to standing: 15 systolic or 7 diastolic
def test_sit_to_stand(before: str, after: str, reached: bool) -> None:
    record = run(bp(before, position="sitting"), bp(after, position="standing"))
    note = (value_of(record, "orthostatic_change") or pytest.fail("no change")).note or ""
    assert ("is reached" in note) is reached


# --- Body measures -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("index", "label"),
    [  # World Health Organization, adult classes: both edges
        (15.99, "severe thinness"),
        (16.0, "moderate thinness"),
        (16.99, "moderate thinness"),
        (17.0, "mild thinness"),
        (18.49, "mild thinness"),
        (18.5, "normal range"),
        (24.99, "normal range"),
        (25.0, "pre-obese"),
        (29.99, "pre-obese"),
        (30.0, "obese class I"),
        (34.99, "obese class I"),
        (35.0, "obese class II"),
        (39.99, "obese class II"),
        (40.0, "obese class III"),
    ],
)
def test_who_classes(index: float, label: str) -> None:
    row = band(table(lexicon(), "body_mass_index"), index)
    assert row is not None
    assert row.label == f"WHO class: {label}"


@pytest.mark.parametrize(
    ("weight", "height", "index"),
    [
        (("70", "kg"), ("175", "cm"), 22.9),
        (("95", "kg"), ("1.68", "m"), 33.7),
        (("48", "kg"), ("170", "cm"), 16.6),
        (("154", "[lb_av]"), ("69", "[in_i]"), 22.7),
    ],
)
def test_body_mass_index(weight: tuple[str, str], height: tuple[str, str], index: float) -> None:
    assert number_of(run(vital("weight", *weight), vital("height", *height)), "body_mass_index") == index


def test_body_mass_index_lists_what_is_missing() -> None:
    found = value_of(run(vital("weight", "70", "kg")), "body_mass_index")
    assert found is not None
    assert (found.value, found.missing) == (None, ("height",))


def test_body_surface() -> None:
    # Mosteller 1987: sqrt(170 x 70 / 3600) = 1.82; Du Bois 1916: 1.81 (computed from the printed formulas)
    assert round(formulas.body_surface_mosteller(70, 170), 2) == 1.82
    assert round(formulas.body_surface_du_bois(70, 170), 2) == 1.81
    assert formulas.body_surface_mosteller(100, 180) == pytest.approx(2.236, abs=0.001)


# --- Summed scales -------------------------------------------------------------------------------------------


def gcs(eye: str | None, verbal: str | None, motor: str | None) -> list[Said]:
    pairs = (("gcs_eye", eye), ("gcs_verbal", verbal), ("gcs_motor", motor))
    return [said("neurological", name, value=value, kind="scale") for name, value in pairs if value]


@pytest.mark.parametrize(
    ("parts", "total", "label"),
    [  # Teasdale and Jennett 1974: 3 to 15
        (("4", "5", "6"), 15, "full score"),
        (("1", "1", "1"), 3, "3 to 8"),
        (("2", "2", "4"), 8, "3 to 8"),
        (("2", "3", "4"), 9, "9 to 12"),
        (("3", "4", "5"), 12, "9 to 12"),
        (("3", "4", "6"), 13, "13 to 15"),
        (("4", "4", "6"), 14, "13 to 15"),
    ],
)
def test_glasgow_coma_scale(parts: tuple[str, str, str], total: int, label: str) -> None:
    found = value_of(run(*gcs(*parts)), "glasgow_coma_scale")
    assert found is not None
    assert found.value == total
    assert label in (found.note or "")


def test_glasgow_is_not_totalled_when_a_part_is_missing() -> None:
    found = value_of(run(*gcs("4", None, "6")), "glasgow_coma_scale")
    assert found is not None
    assert (found.value, found.missing) == (None, ("verbal",))


def test_glasgow_ignores_a_part_that_cannot_be() -> None:
    found = value_of(run(*gcs("5", "5", "6")), "glasgow_coma_scale")  # eye opening ends at 4
    assert found is not None
    assert found.value is None


@pytest.mark.parametrize(
    ("total", "label"),
    [  # Braden 1987, bands as in Braden and Maklebust 2005
        (6, "very high"),
        (9, "very high"),
        (10, "high risk band (10"),
        (12, "high risk band (10"),
        (13, "moderate"),
        (14, "moderate"),
        (15, "at-risk"),
        (18, "at-risk"),
        (19, "no risk"),
        (23, "no risk"),
    ],
)
def test_braden_bands(total: int, label: str) -> None:
    row = band(table(lexicon(), "braden"), total)
    assert row is not None
    assert label in row.label


# --- Urine ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("volume", "expected"), [("140", 0.5), ("90", 0.32)])
def test_urine_per_kilogram(volume: str, expected: float) -> None:  # trade reference, section 1.7
    record = run(
        vital("weight", "70", "kg"),
        said("genitourinary", "urine_output", value=volume, unit="mL", text=f"urine output {volume} mL over 4 hours"),
    )
    assert number_of(record, "urine_per_kilogram") == expected


def test_urine_lists_what_is_missing() -> None:
    record = run(said("genitourinary", "urine_output", value="140", unit="mL", text="urine output 140"))
    found = value_of(record, "urine_per_kilogram")
    assert found is not None
    assert found.missing == ("weight", "hours")


# --- In general ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("years", "band_id"),
    [
        (0.0, "neonate"),
        (0.5, "infant"),
        (1, "toddler"),
        (2.9, "toddler"),
        (3, "preschool"),
        (6, "school_age"),
        (10, "preadolescent"),
        (12, "adolescent"),
        (16, "adult"),
        (64.9, "adult"),
        (65, "older_adult"),
        (None, "adult"),
    ],
)
def test_age_bands(years: float | None, band_id: str) -> None:
    assert [age.id for age in age_bands(lexicon(), years)] == [band_id]


def test_superseded_values_do_not_count() -> None:
    record = run(bp("180/100", superseded_by="e2"), bp("120/80"))
    assert [c.value for c in computed(record, lexicon()) if c.name == "pulse_pressure"] == [40]


def test_nothing_is_computed_from_what_cannot_be_true() -> None:
    assert value_of(run(bp("80/120")), "mean_arterial_pressure") is None
    assert value_of(run(vital("weight", "70", "kg"), vital("height", "900", "cm")), "body_mass_index") != 0


def test_every_value_has_formula_source_and_entries() -> None:
    entries = [*observations(16, 97, False, 122, 78, 36.8), vital("weight", "70", "kg"), vital("height", "175", "cm")]
    for value in computed(run(*entries), lexicon()):
        assert value.formula
        assert value.source
        assert value.from_


@given(st.integers(60, 250), st.integers(20, 150))
def test_mean_pressure_lies_between(systolic: int, diastolic: int) -> None:
    if diastolic < systolic:
        assert diastolic < formulas.mean_arterial_pressure(systolic, diastolic) < systolic
