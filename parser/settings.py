"""What a school or a unit chooses: age when none is said, which blood-pressure table, which NEWS2 scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Settings:
    """Choices that the audit and the scores respect; the defaults are those of the lexicon.

    ``age_years`` counts only when no age was said. ``pressure_table`` is an id of ``pressure_tables``
    in scores.yaml. ``news2_scale`` 2 is only for a person for whom a clinician has chosen it.
    """

    age_years: float | None = None
    pressure_table: str = "aha_acc_2025"
    news2_scale: Literal[1, 2] = 1


USUAL = Settings()
