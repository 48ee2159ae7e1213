"""Units against a reference library (pint) and exact factors of NIST SP 811."""

from __future__ import annotations

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from parser.conversion import convert, shown, years

_REGISTRY = pint.UnitRegistry()
_NAMES = {
    "kg": "kilogram",
    "g": "gram",
    "[lb_av]": "pound",
    "[oz_av]": "ounce",
    "[stone_av]": "stone",
    "cm": "centimeter",
    "mm": "millimeter",
    "m": "meter",
    "[in_i]": "inch",
    "[ft_i]": "foot",
    "mL": "milliliter",
    "L": "liter",
    "dL": "deciliter",
    "mL/h": "milliliter/hour",
    "L/h": "liter/hour",
    "s": "second",
    "min": "minute",
    "h": "hour",
    "d": "day",
    "mm[Hg]": "mmHg",
    "kPa": "kilopascal",
    "L/min": "liter/minute",
    "mL/min": "milliliter/minute",
}
_PAIRS = [
    (a, b)
    for a in _NAMES
    for b in _NAMES
    if _REGISTRY(_NAMES[a]).dimensionality == _REGISTRY(_NAMES[b]).dimensionality
    and not {a, b} <= {"L/min", "mL/min", "mL/h", "L/h"}
]


@pytest.mark.parametrize(("unit", "to"), _PAIRS)
def test_factors_agree_with_pint(unit: str, to: str) -> None:
    expected = _REGISTRY.Quantity(7.3, _NAMES[unit]).to(_NAMES[to]).magnitude
    assert convert(7.3, unit, to) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [(98.6, 37.0), (100.4, 38.0), (101.3, 38.5), (95.0, 35.0), (104.0, 40.0)]
)
def test_temperatures_of_the_handbook(fahrenheit: float, celsius: float) -> None:
    assert convert(fahrenheit, "[degF]", "Cel") == pytest.approx(celsius)
    assert convert(celsius, "Cel", "[degF]") == pytest.approx(fahrenheit)


@pytest.mark.parametrize(
    ("number", "unit", "to", "expected", "digits"),
    [  # NIST SP 811: 1 lb = 0.453 592 37 kg, 1 in = 2.54 cm, exactly
        (154, "[lb_av]", "kg", 69.9, 1),
        (82.5, "kg", "[lb_av]", 181.9, 1),
        (69, "[in_i]", "cm", 175.3, 1),
        (1, "[lb_av]", "kg", 0.45359237, 9),
        (1, "[in_i]", "cm", 2.54, 9),
    ],
)
def test_worked_conversions(number: float, unit: str, to: str, expected: float, digits: int) -> None:
    assert round(convert(number, unit, to) or 0, digits) == expected


@given(st.floats(-500, 500), st.sampled_from(_PAIRS))
def test_there_and_back(number: float, pair: tuple[str, str]) -> None:
    there = convert(number, *pair)
    assert there is not None
    assert convert(there, pair[1], pair[0]) == pytest.approx(number, rel=1e-9, abs=1e-9)


def test_what_cannot_be_converted_is_none() -> None:
    assert convert(1, "kg", "cm") is None
    assert convert(1, None, "cm") == 1
    assert years(3, "kg") is None


def test_ages_in_years() -> None:
    assert years(18, "mo") == pytest.approx(1.5)
    assert years(40, None) == 40


def test_shown() -> None:
    assert shown(37.25, "Cel", 1) == "37.2 °C"
    assert shown(16, "/min") == "16 per minute"
