"""One amount inside a number expression."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Operand:
    """One amount inside an expression, in canonical text."""

    start: int
    end: int
    text: str
    figure: bool

    @property
    def value(self) -> float:
        return float(self.text)

    @property
    def small(self) -> bool:
        """A whole number up to 10: what grades and scores are made of."""
        return self.value <= 10 and self.value == int(self.value)
