"""Conversion between units by UCUM code, with the unit library loaded only when it is needed."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from lexicon import Lexicon
from parser.grammar import grammar

#: Grams in a mole of glucose, C6H12O6, from standard atomic weights: 180.156.
GLUCOSE_MOLAR_MASS = 180.156


class UnitError(ValueError):
    """The units are unknown or do not measure the same kind of thing."""


def convert(value: float, code: str, to: str, lexicon: Lexicon) -> float:
    """``value`` in UCUM unit ``code`` as a number of ``to``.

    Blood glucose converts between mg/dL and mmol/L by the molar mass of glucose. Raises
    :class:`UnitError` for unknown codes and for units of different kinds.
    """
    if code == to:
        return value
    if {code, to} == {"mg/dL", "mmol/L"}:
        factor = GLUCOSE_MOLAR_MASS / 10
        return value / factor if to == "mmol/L" else value * factor
    names = grammar(lexicon).unit_by_code
    source, target = names.get(code), names.get(to)
    if source is None or target is None or source.pint is None or target.pint is None:
        raise UnitError(f"no conversion is known from {code} to {to}")
    registry = _registry()
    try:
        return float(registry.Quantity(value, source.pint).to(target.pint).magnitude)
    except registry_errors() as error:
        raise UnitError(f"{code} and {to} do not measure the same kind of thing") from error


def registry_errors() -> tuple[type[Exception], ...]:
    from pint.errors import PintError

    return (PintError,)


@lru_cache(maxsize=1)
def _registry() -> Any:
    from pint import UnitRegistry

    registry: Any = UnitRegistry()
    return registry
