"""Conversions by UCUM code against factors of NIST Special Publication 811, appendix B."""

from __future__ import annotations

import pytest

from lexicon import load
from parser.units import UnitError, convert


@pytest.mark.parametrize(
    ("value", "code", "to", "expected"),
    [
        (1, "[lb_av]", "kg", 0.45359237),
        (1, "[oz_av]", "g", 28.349523125),
        (1, "[stone_av]", "kg", 6.35029318),
        (1, "[in_i]", "cm", 2.54),
        (1, "[ft_i]", "cm", 30.48),
        (1, "m", "cm", 100),
        (1, "L", "mL", 1000),
        (1, "mm[Hg]", "kPa", 0.1333224),
        (1, "cm[H2O]", "kPa", 0.0980665),
        (1, "[foz_us]", "mL", 29.57353),
        (1, "[cup_us]", "mL", 236.5882),
        (98.6, "[degF]", "Cel", 37.0),
        (37.0, "Cel", "[degF]", 98.6),
        (-40, "Cel", "[degF]", -40),
        (1, "L/min", "mL/h", 60_000),
    ],
)
def test_conversions_of_nist_sp_811(value: float, code: str, to: str, expected: float) -> None:
    assert convert(value, code, to, load()) == pytest.approx(expected, rel=2e-6)


@pytest.mark.parametrize(("mg", "mmol"), [(90, 5.0), (126, 7.0), (180, 10.0)])
def test_glucose_conversion_of_teaching_tables(mg: float, mmol: float) -> None:
    """Pairs printed in diabetes guidelines (common practice): rounded to 0.1 mmol/L."""
    assert round(convert(mg, "mg/dL", "mmol/L", load()), 1) == mmol


def test_units_of_different_kinds_are_refused() -> None:
    with pytest.raises(UnitError, match="kg and cm"):
        convert(1, "kg", "cm", load())
    with pytest.raises(UnitError, match="no conversion"):
        convert(1, "kg", "stone", load())
