"""Reads bands of the lexicon: which band a value lies in."""

from __future__ import annotations

from lexicon import Lexicon
from lexicon.schema.scores import Age, PressureRow, PressureTable, RangesFile, Row, Score, ScoresFile, Table


def scores_of(lexicon: Lexicon) -> ScoresFile:
    """The scores of the lexicon; empty when it has none."""
    found = lexicon.files.get("scores")
    return found if isinstance(found, ScoresFile) else ScoresFile()


def ranges_of(lexicon: Lexicon) -> RangesFile:
    """The ranges of the lexicon; empty when it has none."""
    found = lexicon.files.get("ranges")
    return found if isinstance(found, RangesFile) else RangesFile()


def score(lexicon: Lexicon, name: str) -> Score | None:
    return next((entry for entry in scores_of(lexicon).scores if entry.id == name), None)


def table(lexicon: Lexicon, name: str | None) -> Table | None:
    return next((entry for entry in scores_of(lexicon).tables if entry.id == name), None)


def band(found: Table | None, value: float, oxygen: bool | None = None) -> Row | None:
    """The row of the table that ``value`` lies in, rounded to the table's step; None outside all rows.

    Rows for air or oxygen alone count only when ``oxygen`` says the same.
    """
    if found is None:
        return None
    stepped = round(round(value / found.step) * found.step, 6)
    return next((row for row in found.rows if row.oxygen in (None, oxygen) and row.holds(stepped)), None)


def pressure_table(lexicon: Lexicon, name: str) -> PressureTable | None:
    return next((entry for entry in scores_of(lexicon).pressure_tables if entry.id == name), None)


def pressure_category(found: PressureTable, systolic: float, diastolic: float) -> PressureRow:
    """The highest category that either part reaches."""
    reached = found.rows[0]
    for row in found.rows:
        by_systolic = row.systolic_at_least is not None and systolic >= row.systolic_at_least
        by_diastolic = row.diastolic_at_least is not None and diastolic >= row.diastolic_at_least
        if by_systolic or by_diastolic:
            reached = row
    return reached


def age_bands(lexicon: Lexicon, age_years: float | None) -> tuple[Age, ...]:
    """Every age band the age lies in; the usual one when no age is known."""
    ranges = ranges_of(lexicon)
    if age_years is None:
        return tuple(age for age in ranges.ages if age.id == ranges.usual_age)
    return tuple(age for age in ranges.ages if age.from_years <= age_years < age.to_years)
