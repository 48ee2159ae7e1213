"""The arithmetic of the scores, nothing else. Sources stand beside each formula; see also scores.yaml."""

from __future__ import annotations

from math import sqrt


def mean_arterial_pressure(systolic: float, diastolic: float) -> float:
    """DBP + (SBP - DBP) / 3, in mm[Hg]; the usual estimate at normal rates (SSC2021 uses its result)."""
    return diastolic + (systolic - diastolic) / 3


def pulse_pressure(systolic: float, diastolic: float) -> float:
    """SBP - DBP, in mm[Hg] (HOMAN)."""
    return systolic - diastolic


def shock_index(heart_rate: float, systolic: float) -> float:
    """HR / SBP (Allgower and Burri 1967). Raises ZeroDivisionError for a systolic pressure of 0."""
    return heart_rate / systolic


def body_mass_index(kilograms: float, metres: float) -> float:
    """kg / m2 (World Health Organization). Raises ZeroDivisionError for a height of 0."""
    return kilograms / metres**2


def body_surface_mosteller(kilograms: float, centimetres: float) -> float:
    """sqrt(cm x kg / 3600), in m2 (Mosteller RD. N Engl J Med 1987;317:1098)."""
    return sqrt(centimetres * kilograms / 3600)


def body_surface_du_bois(kilograms: float, centimetres: float) -> float:
    """0.007184 x kg^0.425 x cm^0.725, in m2 (Du Bois D, Du Bois EF. Arch Intern Med 1916;17:863-871)."""
    return float(0.007184 * kilograms**0.425 * centimetres**0.725)


def urine_per_kilogram(millilitres: float, hours: float, kilograms: float) -> float:
    """mL / kg / h (KDIGO2012). Raises ZeroDivisionError for no hours or no weight."""
    return millilitres / hours / kilograms
