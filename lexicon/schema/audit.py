"""Rules of the audit: checklists, order, timing, sides, details, contradictions and cautions."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from lexicon.schema.base import Entry, Id, Ids, Strings
from lexicon.schema.matching import Match, Rule

Matches = tuple[Match, ...]


class Item(Rule):
    """One thing a complete run says: any of the matchers shows that it was said."""

    id: Id
    region: Id
    #: Short name in lists ("bowel sounds").
    label: str
    any: Matches = Field(min_length=1)
    #: Only expected when one of these was said (a wound needs its size).
    when: Matches = ()
    #: Only in lists that include it by name.
    advanced: bool = False

    @model_validator(mode="after")
    def _sayable(self) -> "Item":
        if not self.say:
            raise ValueError("an item needs 'say': the sentence to say when it is missing")
        return self


class Checklist(Entry):
    """A named list: the items of some stations, with changes."""

    id: Id
    title: str
    #: Another list that this one changes.
    based_on: Id | None = None
    #: Stations in the order wanted; empty means all, in the order of regions.yaml.
    stations: Ids = ()
    include: Ids = ()
    leave_out: Ids = ()
    #: Item id -> factor on its weight.
    weigh: dict[str, float] = Field(default_factory=dict)
    #: Whether the order of stations is looked at.
    ordered: bool = True
    source: Strings = Field(min_length=1)


class ChecklistFile(Entry):
    items: tuple[Item, ...] = ()
    lists: tuple[Checklist, ...] = ()
    #: What puts a whole station on record ("breast examination deferred").
    deferrals: Matches = ()
    remove: Ids = ()


class Act(Entry):
    """Something done that rules of order speak of, known by what was found."""

    id: Id
    label: str
    any: Matches = Field(min_length=1)


class Sequence(Rule):
    """Acts in the order in which they are taught, first to last."""

    id: Id
    acts: Ids = Field(min_length=2)
    #: Compare the first mention of the earlier act with the first of the later.
    message: str = ""


class Alternation(Rule):
    """Places compared side to side, not all of one side first."""

    id: Id
    label: str
    any: Matches = Field(min_length=1)


class Together(Rule):
    """Something never said to be done in this way (both carotids at once)."""

    id: Id
    any: Matches = Field(min_length=1)
    message: str


class OrderFile(Entry):
    acts: tuple[Act, ...] = ()
    sequences: tuple[Sequence, ...] = ()
    alternations: tuple[Alternation, ...] = ()
    never: tuple[Together, ...] = ()
    #: Stations that may come at any time.
    free_stations: Ids = ()
    #: Groups of stations whose inner order is free.
    groups: tuple[Ids, ...] = ()
    #: A visit of fewer entries than this is a detour, not a station.
    detour: int = 2
    #: Fewer visits than this are no run from crown to sole, and their order is not looked at.
    least_visits: int = 6
    station_rule: Rule | None = None
    remove: Ids = ()


class Timing(Rule):
    """A finding that takes time: how many seconds should have gone by before it was said."""

    id: Id
    label: str
    any: Matches = Field(min_length=1)
    seconds: float = Field(gt=0)
    #: Not judged in text, where no one can see the time.
    sound_only: bool = False
    #: Words that say it took long enough ("full minute").
    said: Strings = ()


class TimingFile(Entry):
    timings: tuple[Timing, ...] = ()
    #: Words that start the count ("start counting", "listening").
    starts: Strings = ()
    remove: Ids = ()


class Pair(Rule):
    """Findings of paired parts: both sides are said. ``members`` lists sites instead of left and right."""

    id: Id
    label: str
    any: Matches = Field(min_length=1)
    members: Ids = ()
    #: Judge each site for itself (radial apart from pedal pulses).
    by_site: bool = False


class SidesFile(Entry):
    pairs: tuple[Pair, ...] = ()
    remove: Ids = ()


class Detail(Rule):
    """A finding that needs something said with it (jugular veins: the angle of the bed)."""

    id: Id
    label: str
    when: Matches = Field(min_length=1)
    #: Words near it that settle it.
    words: Strings = ()
    #: Entries that settle it.
    any: Matches = ()
    #: Where those entries count: said with it, in the same station, or anywhere.
    within: Literal["near", "region", "run"] = "region"
    #: A value said with it settles it; or a place; or a side.
    value: bool = False
    site: bool = False
    position: bool = False


class DetailsFile(Entry):
    details: tuple[Detail, ...] = ()
    remove: Ids = ()


class Contradiction(Rule):
    """Two things that cannot both be so. ``place``: only when said of the same place."""

    id: Id
    one: Matches = Field(min_length=1)
    other: Matches = Field(min_length=1)
    place: bool = False
    message: str


class Unequal(Rule):
    """Said to be equal, yet the numbers of left and right differ by ``by`` or more (canonical unit)."""

    id: Id
    equal: Matches = Field(min_length=1)
    values: Matches = Field(min_length=1)
    by: float = Field(gt=0)
    message: str


class Kinds(Entry):
    """A finding (``id``, a concept) and the concepts that are kinds of it."""

    id: Id
    of: Ids = Field(min_length=1)
    source: Strings = Field(min_length=1)


class ContradictionsFile(Entry):
    kinds: tuple[Kinds, ...] = ()
    contradictions: tuple[Contradiction, ...] = ()
    unequal: tuple[Unequal, ...] = ()
    #: Rule for the same finding said absent and present of one place.
    both_ways: Rule | None = None
    #: Rule for two opposites of one place.
    opposites: Rule | None = None
    #: Rule for a total that differs from the sum of its parts.
    totals: Rule | None = None
    #: Concepts that may be present and absent in one station ("tenderness" here, not there).
    exempt: Ids = ()
    #: Words that tell of a change over time ("now", "on recheck").
    changes: Strings = ()
    remove: Ids = ()


class Caution(Rule):
    """Findings and values that usually call for someone.

    ``any`` fires on one match. Else every matcher of ``all`` must match, and at least ``need`` of ``groups``.
    """

    id: Id
    title: str
    any: Matches = ()
    all: Matches = ()
    groups: tuple[Matches, ...] = ()
    need: int = Field(default=2, ge=1)
    #: Not when any of these was said (a target of 88 to 92 %).
    unless: Matches = ()
    #: Age bands it is meant for; empty means all.
    ages: Ids = ()

    @model_validator(mode="after")
    def _fires(self) -> "Caution":
        if not (self.any or self.all or self.groups):
            raise ValueError("a caution needs any, all or groups")
        if self.groups and self.need > len(self.groups):
            raise ValueError(f"need is {self.need} but there are {len(self.groups)} groups")
        return self


class Callout(Entry):
    """How each severity is worded: whom it usually calls for, by local policy."""

    id: Literal["note", "attention", "urgent"]
    message: str
    say: str


class CautionsFile(Entry):
    cautions: tuple[Caution, ...] = ()
    callouts: tuple[Callout, ...] = ()
    remove: Ids = ()
