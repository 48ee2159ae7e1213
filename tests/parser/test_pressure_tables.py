"""Categories of blood pressure against the published tables: AHA/ACC 2025 and ESC 2024."""

from __future__ import annotations

import pytest

from parser.scores.tables import pressure_category, pressure_table
from tests.parser.audit.building import lexicon


@pytest.mark.parametrize(
    ("systolic", "diastolic", "label"),
    [  # AHA/ACC 2025, Table 4 (the four categories of 2017 kept)
        (119, 79, "normal"),
        (120, 79, "elevated"),
        (129, 79, "elevated"),
        (130, 79, "stage 1"),
        (119, 80, "stage 1"),
        (139, 89, "stage 1"),
        (140, 79, "stage 2"),
        (119, 90, "stage 2"),
        (180, 120, "stage 2"),
        (181, 100, "severe (above 180 or above 120)"),
        (150, 121, "severe (above 180 or above 120)"),
        (125, 85, "stage 1"),
        (118, 76, "normal"),
    ],
)
def test_aha_acc_2025(systolic: int, diastolic: int, label: str) -> None:
    found = pressure_table(lexicon(), "aha_acc_2025")
    assert found is not None
    assert pressure_category(found, systolic, diastolic).label == label


@pytest.mark.parametrize(
    ("systolic", "diastolic", "label"),
    [  # ESC 2024: non-elevated <120/70, elevated 120-139 or 70-89, hypertension >=140/90
        (119, 69, "non-elevated"),
        (120, 69, "elevated"),
        (119, 70, "elevated"),
        (139, 89, "elevated"),
        (140, 60, "140/90 or above"),
        (110, 90, "140/90 or above"),
    ],
)
def test_esc_2024(systolic: int, diastolic: int, label: str) -> None:
    found = pressure_table(lexicon(), "esc_2024")
    assert found is not None
    assert pressure_category(found, systolic, diastolic).label == label
