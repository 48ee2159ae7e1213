"""Matchers: how a rule says which entries of a record it is about."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from lexicon.schema.base import Entry, Ids, Strings

Status = Literal["present", "absent", "normal", "not_assessed", "uncertain", "history", "family"]


class Match(Entry):
    """Entries that fit every key given; within one key any of its values will do.

    Numbers are compared in ``unit`` (a UCUM code); without it as they were said.
    """

    #: Ids of concepts, measures or scales.
    concepts: Ids = ()
    #: Ids of sites; parts of a site count as the site.
    sites: Ids = ()
    #: Ids of sites it must not be about (parts included).
    not_sites: Ids = ()
    #: Only when filed under one of these stations.
    regions: Ids = ()
    #: Statuses that count; each kind of rule has its own usual ones.
    statuses: tuple[Status, ...] = ()
    side: Literal["left", "right", "both", "midline"] | None = None
    #: Only when said in this half of the run (hand hygiene before, hand hygiene after).
    half: Literal["first", "second"] | None = None
    #: Any of these words among those said (a few words around count).
    words: Strings = ()
    #: None of these words among those said.
    without_words: Strings = ()
    #: None of these words just before it ("anterior" before breath sounds).
    not_after: Strings = ()
    #: Any of these qualifiers, in whole or in part.
    qualifiers: Strings = ()
    part: Literal["systolic", "diastolic"] | None = None
    unit: str | None = None
    below: float | None = None
    at_most: float | None = None
    at_least: float | None = None
    above: float | None = None
    #: Only when a value was said, or only when none was.
    valued: bool | None = None

    @model_validator(mode="after")
    def _says_something(self) -> "Match":
        if not (self.concepts or self.sites or self.regions):
            raise ValueError("a matcher needs concepts, sites or regions")
        return self

    @model_validator(mode="after")
    def _possible(self) -> "Match":
        low = self.at_least if self.at_least is not None else self.above
        high = self.at_most if self.at_most is not None else self.below
        if low is not None and high is not None and low > high:
            raise ValueError(f"no number is at least {low:g} and at most {high:g}")
        return self

    @property
    def numeric(self) -> bool:
        low, high = (self.at_least, self.above), (self.at_most, self.below)
        return low != (None, None) or high != (None, None)

    def holds(self, number: float) -> bool:
        """Whether ``number`` lies within the limits given."""
        return (
            (self.below is None or number < self.below)
            and (self.at_most is None or number <= self.at_most)
            and (self.at_least is None or number >= self.at_least)
            and (self.above is None or number > self.above)
        )


class Rule(Entry):
    """What every rule of the audit says: why it is taught, what to say next time, and where it comes from."""

    why: str = ""
    say: str = ""
    severity: Literal["note", "attention", "urgent"] = "note"
    #: Multiplies the rank of the remark; 1 is usual.
    weight: float = Field(default=1.0, gt=0, le=10)
    source: Strings

    @model_validator(mode="after")
    def _sourced(self) -> "Rule":
        if not self.source:
            raise ValueError("a rule needs a source: an id of sources.yaml, or C for common practice")
        return self
