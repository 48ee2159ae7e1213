"""Rubrics: how many points a step and a station are worth, which steps are critical, and what passes."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from lexicon.schema.base import Entry, Id, Ids, Strings
from lexicon.schema.matching import Match

Matches = tuple[Match, ...]
Points = Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)]
Percent = Annotated[float, Field(gt=0, le=100, allow_inf_nan=False)]
#: What becomes of a step that was said aloud not to be done ("breast examination deferred").
Deferred = Literal["none", "uncounted", "full"]


class Step(Entry):
    """One thing that is marked: an item of a checklist, acts in an order file, or matchers of its own."""

    id: Id
    #: Station it is listed under; left out: that of its item.
    station: Id | None = None
    #: Left out: the label of its item.
    label: str = ""
    points: Points = 1.0
    #: Without it the run does not pass.
    critical: bool = False
    item: Id | None = None
    any: Matches = ()
    #: Ids of acts in order.yaml, all of which must be heard.
    acts: Ids = ()
    #: Remarks of the audit that take all points: "order.abdomen_order"; a family ("order") counts where it is
    #: about what shows the step.
    unless: Strings = ()
    #: Remarks that leave a share of the points.
    part: Strings = ()
    why: str = ""
    source: Strings = ()

    @model_validator(mode="after")
    def _shown_by_one(self) -> "Step":
        given = [name for name in ("item", "any", "acts") if getattr(self, name)]
        if len(given) > 1:
            raise ValueError(f"a step is shown by one of item, any or acts, not by {' and '.join(given)}")
        if given and given[0] != "item" and not (self.station and self.label):
            raise ValueError("a step with any or acts needs a station and a label")
        return self


class StationWeight(Entry):
    """How a station counts: ``weight`` multiplies the points of its steps."""

    id: Id
    weight: Points = 1.0
    #: Percent of its own points without which the run does not pass.
    at_least: Percent | None = None


class ItemPoints(Entry):
    """Points of a checklist item that no step names, by its severity in the checklist."""

    note: Points = 1.0
    attention: Points = 2.0
    urgent: Points = 3.0


class PassRule(Entry):
    """What passes: percent of all points, and critical steps met: all of them, or at least so many."""

    percent: Percent = 75.0
    critical: Literal["all"] | Annotated[int, Field(ge=0, le=1000)] = "all"


class Rubric(Entry):
    """A named rubric. What it does not give it takes from the one it is ``based_on``."""

    id: Id
    title: str = Field(min_length=1)
    based_on: Id | None = None
    checklist: Id = "complete"
    item_points: ItemPoints = ItemPoints()
    #: What is left of the points of a step that was done in part.
    share: Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)] = 0.5
    #: Remarks that leave a share of the points of any step they are about.
    part: Strings = ()
    deferred: Deferred = "uncounted"
    stations: tuple[StationWeight, ...] = ()
    steps: tuple[Step, ...] = ()
    #: Steps, or items of the checklist, that are not marked.
    leave_out: Ids = ()
    to_pass: PassRule = PassRule()
    source: Strings = Field(min_length=1)


class RubricFile(Entry):
    rubrics: tuple[Rubric, ...] = ()
    remove: Ids = ()
