"""Numbers, units, measures and scales: how values are said and what they may be."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from lexicon.schema.base import Entry, Forms, Id, Ids, Strings

Role = Literal["zero", "unit", "teen", "ten", "hundred", "thousand", "ordinal", "part", "share", "roman"]
Sign = Literal[
    "point",
    "and",
    "over",
    "out_of",
    "by",
    "to",
    "plus",
    "minus",
    "times",
    "times_after",
    "less",
    "more",
    "at_most",
    "at_least",
    "or_less",
    "or_more",
    "about",
    "between",
    "staged",
    "palpation",
    "oclock",
    "ago",
    "am",
    "pm",
    "half_past",
    "quarter_past",
    "quarter_to",
    "often",
    "labels",
]
Shape = Literal[
    "integer",
    "decimal",
    "pair",
    "score",
    "grade",
    "size",
    "range",
    "comparator",
    "times",
    "clock",
    "clock_position",
    "ordinal",
    "height",
    "stones",
    "pounds_ounces",
    "stage",
    "acuity",
    "gcs",
    "list",
    "signed",
    "decade",
    "ratio",
    "date",
    "ago",
    "frequency",
    "label",
]
Part = Literal["systolic", "diastolic"]


class NumberWord(Entry):
    """A word that is a number. ``value`` is its worth; a part of one (half) is 0.5."""

    id: Id
    role: Role
    value: float
    forms: Forms
    #: Other words that sound alike; read as the number only beside a measure, and marked.
    sounds: Strings = ()


class Operator(Entry):
    """Words or marks that join, compare or qualify numbers."""

    id: Id
    sign: Sign
    forms: Forms


class Unit(Entry):
    """A unit: its UCUM code, the name the unit library knows it by, and how it is said.

    ``weak`` forms are single letters and short words that mean other things too: they are read as
    the unit only straight after figures and when nothing else follows that would claim them.
    """

    id: Id
    code: str
    kind: Id
    pint: str | None = None
    forms: Forms = ()
    weak: Forms = ()
    #: Unit of one tenth or smaller parts said after it ("five foot nine", "eleven stone four").
    smaller: Id | None = None


class SlotKind(Entry):
    """A kind of number a finding can take: the shapes it may have and the kinds of unit."""

    id: Id
    shapes: tuple[Shape, ...]
    #: Kinds of unit it may have; empty means none.
    units: Ids = ()
    #: Without a unit it is not read so ("size" may lack one, "gauge" may not).
    unit_needed: bool = False
    #: UCUM code taken when no unit is said.
    unit: str | None = None
    #: The measure that the number is by itself: the flow said with any oxygen device is the oxygen flow.
    names: Id | None = None
    #: ... only for findings that take this kind too.
    names_beside: Id | None = None
    #: Codes said for others: "20 g" of a cannula is its gauge, "2 L" of a flow litres a minute.
    stands_for: dict[str, str] = Field(default_factory=dict)


class NumbersFile(Entry):
    """How numbers are said."""

    words: tuple[NumberWord, ...] = ()
    operators: tuple[Operator, ...] = ()
    units: tuple[Unit, ...] = ()
    slots: tuple[SlotKind, ...] = ()
    #: Words of names that hold a number and are none: "o two", "s one".
    names: tuple["Name", ...] = ()
    months: Strings = ()
    #: Words before a number that make it a change of the value.
    changes: Forms = ()
    #: Words that often stand between a measure and its number, and mean nothing for it.
    links: Strings = ()
    #: Words before "one" that make it a pronoun, and after it.
    pronoun_before: Strings = ()
    pronoun_after: Strings = ()
    remove: Ids = ()


class Name(Entry):
    """Names with a number in them: never read as numbers."""

    id: Id
    forms: Forms


class UnitRule(Entry):
    """A unit a measure may have. ``least``/``most``: what can be true at all in this unit; ``likely``
    bounds are where the unit may be taken when it was not said."""

    code: str
    least: float
    most: float
    likely_from: float | None = None
    likely_to: float | None = None
    #: The code written in the record, when this one is a short way of saying it ("2 L" of oxygen: L/min).
    stands_for: str | None = None

    @property
    def likely(self) -> tuple[float, float]:
        """The range in which the unit may be assumed."""
        low = self.least if self.likely_from is None else self.likely_from
        return low, self.most if self.likely_to is None else self.likely_to


class PartRule(Entry):
    """One part of a value with several (systolic, diastolic): its limits and its LOINC code."""

    id: Id
    label: str
    least: float
    most: float
    loinc: str | None = None


class Measure(Entry):
    """A vital sign or body measure."""

    id: Id
    label: str
    forms: Forms
    #: Words that name the measure only beside its number ("afebrile at", "satting").
    cues: Forms = ()
    shapes: tuple[Shape, ...] = ("integer", "decimal")
    units: tuple[UnitRule, ...] = ()
    parts: tuple[PartRule, ...] = ()
    #: "A hundred and four" may be 100.4: then both are offered.
    tenths: bool = False
    #: A cue counts only beside a number with a unit ("on two liters").
    cue_needs_unit: bool = False
    #: Kinds of unit, or shapes, that name the measure when nothing else does.
    alone_units: Strings = ()
    alone_shapes: tuple[Shape, ...] = ()
    #: Measures it is said with: soon after one of these, a number with a unit of its own needs no name.
    follows: Ids = ()
    #: A decimal in this range, with one place, is taken for the measure when nothing names it, and marked.
    alone_range: tuple[float, float] | None = None
    #: Groups of qualifiers that belong to it.
    qualifiers: Ids = ()
    loinc: str | None = None
    #: Decimal places usual in notes.
    decimals: int = Field(default=0, ge=0, le=3)
    #: Station where it is filed; vital_signs when left out.
    region: Id | None = None
    note: str | None = None
    source: Strings = ("C",)

    @model_validator(mode="after")
    def _readable(self) -> "Measure":
        if not self.shapes:
            raise ValueError("a measure needs at least one shape")
        return self


class Qualifier(Entry):
    """Words that say how, where or with what a value was taken."""

    id: Id
    group: Id
    label: str
    forms: Forms


class MeasuresFile(Entry):
    measures: tuple[Measure, ...] = ()
    qualifiers: tuple[Qualifier, ...] = ()
    remove: Ids = ()


class Grade(Entry):
    """One step of a scale, as written in notes, and what it means."""

    value: str
    meaning: str


class Scale(Entry):
    """A graded observation. ``name`` is declared with every value, since scales of one length differ."""

    id: Id
    label: str
    #: The scale's name and length: "0 to 4+, normal 2+".
    name: str
    forms: Forms = ()
    cues: Forms = ()
    shapes: tuple[Shape, ...] = ("grade",)
    least: float
    most: float
    #: Grades that stand for what is expected; as written.
    normal: Strings = ()
    #: "5" for n/5, "10" for n/10: written when only the grade was said.
    out_of: int | None = None
    #: How a bare number is written: "2+" for {n}+, "stage 2".
    written: str = "{n}"
    #: A number alone (no plus, no "out of") is read as a grade.
    bare: bool = False
    #: UCUM code of a measured quantity on this scale.
    unit: str | None = None
    kind: Literal["grade", "score", "quantity"] = "grade"
    grades: tuple[Grade, ...] = ()
    qualifiers: Ids = ()
    alone_shapes: tuple[Shape, ...] = ()
    loinc: str | None = None
    #: Station where it is filed when it stands by itself.
    region: Id | None = None
    note: str | None = None
    source: Strings = ("C",)


class ScalesFile(Entry):
    scales: tuple[Scale, ...] = ()
    remove: Ids = ()
