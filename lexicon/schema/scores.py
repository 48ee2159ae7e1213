"""Ranges by age, limits of plausibility, scores with their formulas, and tables of bands."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from lexicon.schema.base import Entry, Id, Ids, Strings
from lexicon.schema.matching import Match, Rule


class Age(Entry):
    """An age band in years, ``[from_years, to_years)``."""

    id: Id
    label: str
    from_years: float = Field(ge=0)
    to_years: float = Field(gt=0)
    source: Strings = Field(min_length=1)


class Range(Rule):
    """Values expected of a measure in an age band, both ends included, in ``unit``."""

    id: Id
    measure: Id
    part: Literal["systolic", "diastolic"] | None = None
    ages: Ids = Field(min_length=1)
    unit: str
    low: float | None = None
    high: float | None = None
    #: Only when one of these words was said with the value.
    words: Strings = ()
    below: str = "below the teaching range"
    above: str = "above the teaching range"

    @model_validator(mode="after")
    def _ordered(self) -> "Range":
        if self.low is None and self.high is None:
            raise ValueError("a range needs low or high")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError(f"low ({self.low}) is above high ({self.high})")
        return self


class Confusion(Rule):
    """A number between two limits, said in one unit, that fits another unit better."""

    id: Id
    measure: Id
    unit: str
    least: float
    most: float
    perhaps: str


class RangesFile(Entry):
    ages: tuple[Age, ...] = ()
    ranges: tuple[Range, ...] = ()
    confusions: tuple[Confusion, ...] = ()
    #: Rule for a value outside the limits that measures.yaml and scales.yaml give.
    implausible: Rule | None = None
    #: Rule for a diastolic pressure that is not below the systolic.
    pressure_order: Rule | None = None
    #: Body mass index outside these makes a confused unit likelier.
    bmi_least: float = 11
    bmi_most: float = 75
    bmi_rule: Rule | None = None
    #: Rule for marks to confirm.
    confirm: Rule | None = None
    #: What to say next time, for ranges that do not tell.
    usual_say: str = "Say the value again with its unit, and compare it with the earlier ones."
    #: Age band taken when no age is known.
    usual_age: Id = "adult"
    remove: Ids = ()


class Score(Entry):
    """A computed value: its formula in words, its unit (UCUM), and the table that names its bands."""

    id: Id
    label: str
    unit: str | None = None
    formula: str
    decimals: int = Field(default=0, ge=0, le=4)
    bands: Id | None = None
    #: Measures or scales by which the total itself is said.
    said_as: Ids = ()
    #: How far a said total may be from the computed one.
    tolerance: float = 0
    #: Shown with every value ("screening figure").
    note: str | None = None
    #: What to say next time, when its band is worth a remark.
    say: str = "Say the values it comes from again, each with its unit."
    #: Ages it is meant for; empty means all.
    ages: Ids = ()
    source: Strings = Field(min_length=1)


class Row(Entry):
    """A band ``[at_least, below)`` or ``(above, at_most]``; open where no limit is given."""

    label: str
    at_least: float | None = None
    above: float | None = None
    below: float | None = None
    at_most: float | None = None
    points: int | None = None
    #: Only on air, or only on oxygen.
    oxygen: bool | None = None
    remark: Literal["note", "attention", "urgent"] | None = None
    text: str = ""
    rank: int = 0

    def holds(self, value: float) -> bool:
        """Whether ``value`` lies in the band."""
        return (
            (self.at_least is None or value >= self.at_least)
            and (self.above is None or value > self.above)
            and (self.below is None or value < self.below)
            and (self.at_most is None or value <= self.at_most)
        )


class Table(Entry):
    """A table of bands. ``step`` is the smallest difference of its values (1 for whole numbers)."""

    id: Id
    title: str
    rows: tuple[Row, ...] = Field(min_length=1)
    step: float = 1
    source: Strings = Field(min_length=1)


class PressureRow(Entry):
    """A blood-pressure category: ``any`` of the two parts at or above its limit is enough."""

    label: str
    systolic_at_least: float | None = None
    diastolic_at_least: float | None = None
    remark: Literal["note", "attention", "urgent"] | None = None


class PressureTable(Entry):
    """Categories from lowest to highest; a reading takes the highest whose limit either part reaches."""

    id: Id
    title: str
    rows: tuple[PressureRow, ...] = Field(min_length=1)
    ages: Ids = ()
    note: str = ""
    say: str = ""
    source: Strings = Field(min_length=1)


class Postural(Entry):
    """A fall of pressure on standing that is worth reporting (mm[Hg])."""

    id: Id
    before: Strings
    after: Strings
    systolic: float
    diastolic: float
    say: str = ""
    source: Strings = Field(min_length=1)


class Observation(Entry):
    """What an observation of a summed score is known by: ``value`` of the first matcher set that fits."""

    id: Id
    score: Id
    value: str
    any: tuple[Match, ...] = Field(min_length=1)
    source: Strings = Field(min_length=1)


class Part(Entry):
    """A part of a summed score: where its number is, and within which limits."""

    id: Id
    score: Id
    label: str
    concepts: Ids = Field(min_length=1)
    least: int
    most: int
    #: Findings that stand for a number ("obeys commands" is 6).
    words: tuple["Worded", ...] = ()
    source: Strings = Field(min_length=1)


class Worded(Entry):
    points: int
    any: tuple[Match, ...] = Field(min_length=1)


class ScoresFile(Entry):
    scores: tuple[Score, ...] = ()
    tables: tuple[Table, ...] = ()
    pressure_tables: tuple[PressureTable, ...] = ()
    postural: tuple[Postural, ...] = ()
    observations: tuple[Observation, ...] = ()
    parts: tuple[Part, ...] = ()
    remove: Ids = ()
