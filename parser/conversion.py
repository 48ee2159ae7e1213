"""Units of vital signs and body measures: exact factors between UCUM codes.

Factors: pound 0.45359237 kg and inch 2.54 cm exactly (international yard and pound agreement, NIST SP 811);
Celsius and Fahrenheit by definition; glucose by its molar mass 180.156 g/mol.
"""

from __future__ import annotations

_SCALES: tuple[dict[str, float], ...] = (
    {"kg": 1.0, "g": 0.001, "[lb_av]": 0.45359237, "[oz_av]": 0.45359237 / 16, "[stone_av]": 0.45359237 * 14},
    {"cm": 1.0, "mm": 0.1, "m": 100.0, "[in_i]": 2.54, "[ft_i]": 30.48},
    {"mL": 1.0, "L": 1000.0, "dL": 100.0},
    {"mL/h": 1.0, "L/h": 1000.0},
    {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0},
    {"mg/dL": 1.0, "mmol/L": 18.0156},
    {"mm[Hg]": 1.0, "kPa": 7.50061683},
    {"L/min": 1.0, "mL/min": 0.001},
)
_YEARS = {"a": 1.0, "mo": 1 / 12, "wk": 7 / 365.25, "d": 1 / 365.25}
_FACTORS = {unit: (scale, factor) for scale in _SCALES for unit, factor in scale.items()}


def convert(number: float, unit: str | None, to: str | None) -> float | None:
    """``number`` of ``unit`` in ``to`` (UCUM codes); None when the one cannot become the other.

    A number without a unit, or asked for without one, stays as it is.
    """
    if unit is None or to is None or unit == to:
        return number
    if {unit, to} == {"Cel", "[degF]"}:
        return (number - 32) * 5 / 9 if unit == "[degF]" else number * 9 / 5 + 32
    if unit in _FACTORS and to in _FACTORS[unit][0]:
        return number * _FACTORS[unit][1] / _FACTORS[to][1]
    return None


def years(number: float, unit: str | None) -> float | None:
    """An age in years; without a unit it is taken as years. None for a unit that is no time of life."""
    return number * _YEARS[unit] if unit in _YEARS else (number if unit in (None, "{a}") else None)


def known(unit: str) -> bool:
    """Whether the unit can be converted to another."""
    return unit in _FACTORS or unit in ("Cel", "[degF]")


_SPOKEN = {
    "Cel": "°C", "[degF]": "°F", "mm[Hg]": "mmHg", "[lb_av]": "lb", "[in_i]": "in", "[ft_i]": "ft", "{score}": "",
    "kg/m2": "kg/m²", "m2": "m²", "/min": "per minute", "mL/kg/h": "mL/kg/h", "1": "", "[oz_av]": "oz",
}


def shown(number: float, unit: str | None, decimals: int | None = None) -> str:
    """A number and its unit as people write them: "37.2 °C", "98 %", "16 per minute"."""
    text = f"{number:.{decimals}f}" if decimals is not None else f"{number:g}"
    name = _SPOKEN.get(unit or "", unit or "")
    return f"{text} {name}".strip()
