"""Cautions: what fires, at which edges, and what must never fire."""

from __future__ import annotations

import pytest

from parser.settings import Settings
from tests.parser.audit.building import Said, bp, rules_of, said, vital


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
        (
            (said("abdomen", "bowel_sounds", "absent"), said("abdomen", "distension")),
            "caution.bowel_silent_distended",
            "attention",
        ),
    ],
)
def test_cautions_fire(entries: tuple[Said, ...], rule: str, severity: str) -> None:
    remark = rules_of(*entries)[rule]
    assert remark.severity == severity
    assert "By local policy" in remark.message


@pytest.mark.parametrize(
    "entry",
    [
        said("head_face", "facial_droop", "absent"),
        said("head_face", "facial_droop", "history"),
        said("head_face", "facial_droop", text="chronic left facial droop"),
        vital("spo2", "90", "%"),
        bp("90/60"),
        said("head_face", "facial_droop", "family"),
        said("neurological", "confusion", text="confusion at baseline"),
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


@pytest.mark.parametrize(
    ("concept", "value", "unit", "rule", "fires"),
    [  # trigger set commonly published in the United States (RRTUS): both edges
        ("heart_rate", "39", "/min", "caution.heart_rate_extreme", True),
        ("heart_rate", "40", "/min", "caution.heart_rate_extreme", False),
        ("heart_rate", "130", "/min", "caution.heart_rate_extreme", False),
        ("heart_rate", "131", "/min", "caution.heart_rate_extreme", True),
        ("respiratory_rate", "7", "/min", "caution.respirations_extreme", True),
        ("respiratory_rate", "8", "/min", "caution.respirations_extreme", False),
        ("respiratory_rate", "28", "/min", "caution.respirations_extreme", False),
        ("respiratory_rate", "29", "/min", "caution.respirations_extreme", True),
        ("spo2", "89", "%", "caution.saturation_low", True),
        ("spo2", "90", "%", "caution.saturation_low", False),
        # hypothermia below 35.0 (Paal 2016); 39.1 and above scores 2 (RCP 2017)
        ("temperature", "34.9", "Cel", "caution.temperature_extreme", True),
        ("temperature", "35.0", "Cel", "caution.temperature_extreme", False),
        ("temperature", "39.0", "Cel", "caution.temperature_extreme", False),
        ("temperature", "39.1", "Cel", "caution.temperature_extreme", True),
        ("temperature", "104.1", "[degF]", "caution.temperature_very_high", True),
        ("temperature", "100.3", "[degF]", "caution.fever", False),
        # numeric rating of pain: 0, 1-3, 4-6, 7-10 (NIH Clinical Center 2003)
        ("pain_score", "3", None, "range.pain", False),
        ("pain_score", "4", None, "range.pain", True),
        ("pain_score", "6", None, "caution.pain_severe", False),
        ("pain_score", "7", None, "caution.pain_severe", True),
        ("blood_glucose", "69", "mg/dL", "caution.glucose_low", True),
        ("blood_glucose", "3.8", "mmol/L", "caution.glucose_low", True),
        ("blood_glucose", "4.0", "mmol/L", "caution.glucose_low", False),
    ],
)
def test_edges_of_values(concept: str, value: str, unit: str | None, rule: str, fires: bool) -> None:
    assert (rule in rules_of(vital(concept, value, unit))) is fires


@pytest.mark.parametrize(
    "entry",
    [  # NPIAP 2016: stages 1 to 4, unstageable, deep tissue
        *(
            said("back_sacrum_lines", "pressure_injury_stage", value=f"stage {n}", site="sacrum", kind="scale")
            for n in (1, 2, 3, 4)
        ),
        said("back_sacrum_lines", "pressure_injury_unstageable"),
        said("back_sacrum_lines", "deep_tissue_injury"),
    ],
)
def test_every_stage_of_pressure_injury_is_told(entry: Said) -> None:
    found = rules_of(entry)
    assert found["caution.pressure_injury"].severity == "note"
    assert "implausible.pressure_injury_stage" not in found


def test_words_stand_for_parts_of_the_glasgow_scale() -> None:  # Teasdale and Jennett 1974
    words = [said("neurological", name) for name in ("eyes_open_to_sound", "confused_conversation", "localizes_pain")]
    assert "12" in rules_of(*words)["range.glasgow_coma_scale"].message
