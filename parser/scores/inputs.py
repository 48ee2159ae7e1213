"""What scores are computed from: measures that were said, in the unit a formula needs."""

from __future__ import annotations

from dataclasses import dataclass

from lexicon import Lexicon
from parser.citing import cite
from parser.lookup import STATED, Found, Lookup
from parser.record import Computed
from parser.scores.limits import limits_of
from parser.scores.tables import age_bands, band, score, table
from parser.settings import Settings


@dataclass(frozen=True, slots=True)
class Input:
    """A number in the unit asked for, and the entry it comes from."""

    number: float
    found: Found

    @property
    def id(self) -> str:
        return self.found.entry.id


@dataclass(frozen=True, slots=True)
class Pressure:
    systolic: float
    diastolic: float
    found: Found

    @property
    def position(self) -> str:
        """What was said of posture and arm, in lower case."""
        return " ".join(self.found.entry.qualifiers).lower()


class Inputs:
    """Answers "which heart rate?" for one record: the last that was said and can be true."""

    def __init__(self, lookup: Lookup, settings: Settings) -> None:
        self.lookup = lookup
        self.lexicon: Lexicon = lookup.lexicon
        self.settings = settings
        self.age = lookup.age_years(settings.age_years)
        self.ages = frozenset(age.id for age in age_bands(self.lexicon, self.age))
        self.limits = limits_of(self.lexicon)

    def said(self, concept: str) -> tuple[Found, ...]:
        return tuple(f for f in self.lookup.by_concept.get(concept, ()) if f.entry.status in STATED)

    def last(self, concept: str, unit: str | None) -> Input | None:
        """The last plausible number said of a measure, in ``unit``."""
        for found in reversed(self.said(concept)):
            number = self.lookup.number(found, None, unit)
            if number is not None and self.plausible(concept, None, number, unit):
                return Input(number, found)
        return None

    def pressures(self) -> tuple[Pressure, ...]:
        """Every blood pressure with both parts, systolic above diastolic, in mm[Hg]."""
        result = []
        for found in self.said("blood_pressure"):
            high = self.lookup.number(found, "systolic")
            low = self.lookup.number(found, "diastolic")
            if high is not None and low is not None and high > low and self._pressure_plausible(high, low):
                result.append(Pressure(high, low, found))
        return tuple(result)

    def systolic(self) -> Input | None:
        """The last systolic pressure, with or without a diastolic (by palpation)."""
        for found in reversed(self.said("blood_pressure")):
            high = self.lookup.number(found, "systolic")
            if high is None:
                high = self.lookup.number(found)
            if high is not None and self.believable(found):
                return Input(high, found)
        return None

    def plausible(self, concept: str, part: str | None, number: float, unit: str | None) -> bool:
        """Whether a number (in ``unit``) lies within the limits of what can be true."""
        limits = self.limits.of(concept, part, unit)
        return limits is None or limits[0] - 1e-6 <= number <= limits[1] + 1e-6

    def believable(self, found: Found) -> bool:
        """Whether every number of an entry can be true, and a systolic pressure lies above its diastolic."""
        value = found.entry.value
        if value is None:
            return True
        high, low = self.lookup.number(found, "systolic"), self.lookup.number(found, "diastolic")
        if found.entry.concept == "blood_pressure" and high is not None and low is not None and low >= high:
            return False
        numbers = ((None, self.lookup.number(found)), ("systolic", high), ("diastolic", low))
        return all(
            number is None or self.plausible(found.entry.concept, part, number, value.unit) for part, number in numbers
        )

    def _pressure_plausible(self, high: float, low: float) -> bool:
        return self.plausible("blood_pressure", "systolic", high, None) and self.plausible(
            "blood_pressure", "diastolic", low, None
        )


def result(inputs: Inputs, name: str, value: float, origins: tuple[str, ...], note: str = "") -> Computed | None:
    """A computed value as the record holds it; None when the lexicon has no such score or not for this age."""
    entry = score(inputs.lexicon, name)
    if entry is None or (entry.ages and not inputs.ages & set(entry.ages)):
        return None
    rounded = round(value, entry.decimals)
    row = band(table(inputs.lexicon, entry.bands), rounded)
    notes = [note, row.label if row and row.label else "", entry.note or ""]
    return Computed.model_validate(
        {
            "name": name, "label": entry.label, "value": rounded, "unit": entry.unit, "from": origins,
            "formula": entry.formula, "source": cite(inputs.lexicon, entry.source),
            "note": "; ".join(n for n in notes if n) or None,
        }
    )


def incomplete(inputs: Inputs, name: str, origins: tuple[str, ...], missing: tuple[str, ...], note: str = "") -> (
    Computed | None
):
    """A value that cannot be computed: what is missing, no sum."""
    done = result(inputs, name, 0.0, origins, "")
    if done is None:
        return None
    text = note or "not computed: " + ", ".join(missing) + " not heard"
    return done.model_copy(update={"value": None, "missing": missing, "note": text})


__all__ = ["Input", "Inputs", "Pressure", "incomplete", "result"]
