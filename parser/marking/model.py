"""Marks: the published contract ``crownsole-marking/1``. Plain frozen values that serialise to JSON.

What the tool proposes is never overwritten: a person's points stand beside it, with who, when and why.
"""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field

from parser.record import Part, RecordEvidence

SCHEMA: Literal["crownsole-marking/1"] = "crownsole-marking/1"
CAUTION = "Marks are proposals; a person decides."

#: ``not_due``: only wanted where something else was said, and that was not. ``deferred``: said not to be done.
Outcome = Literal["met", "part", "not_met", "not_due", "deferred"]
Proposal = Literal["pass", "not yet"]


class Shown(Part):
    """An entry that shows a step, with its words and times."""

    entry: str
    label: str
    evidence: RecordEvidence


class Held(Part):
    """A remark of the audit that took points."""

    rule: str
    message: str


class Given(Part):
    """Points that a person gave. ``proposed`` are those the tool proposed when they did."""

    number: int
    step: str
    points: float
    proposed: float
    reason: str
    by: str
    at: str
    rubric: str
    rubric_version: str


class Settled(Part):
    """A person has looked at all marks of the run and lets those they did not change stand."""

    by: str
    at: str
    rubric: str
    rubric_version: str


class Mark(Part):
    """One step. ``points`` of ``possible`` are the tool's; ``given`` the person's, where they changed them."""

    step: str
    label: str
    critical: bool
    outcome: Outcome
    points: float
    possible: float
    why: str
    shown: tuple[Shown, ...] = ()
    held: tuple[Held, ...] = ()
    #: Reasons why what shows it should be confirmed first.
    confirm: tuple[str, ...] = ()
    say: str | None = None
    given: Given | None = None
    #: Earlier points given, the first first.
    before: tuple[Given, ...] = ()

    @property
    def counted(self) -> bool:
        return self.given is not None or self.outcome not in ("not_due", "deferred") or self.points > 0

    @property
    def standing(self) -> float:
        """The person's points where they gave some, else the tool's."""
        return self.given.points if self.given else self.points


class StationMarks(Part):
    region: str
    title: str
    points: float
    possible: float
    marks: tuple[Mark, ...]
    at_least: float | None = None


class Total(Part):
    """Points of a marking and what they propose, with the reasons in words."""

    points: float
    possible: float
    percent: float | None
    critical_met: tuple[str, ...]
    critical_open: tuple[str, ...]
    proposal: Proposal
    reasons: tuple[str, ...]


class RubricInfo(Part):
    id: str
    title: str
    version: str
    checklist: str
    percent: float
    source: str


class Marking(Part):
    """A run marked by a rubric. ``total`` is the tool's; ``standing`` counts a person's points in."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, serialize_by_alias=True)

    schema_: Literal["crownsole-marking/1"] = Field(default=SCHEMA, alias="schema")
    run: str
    source: str
    rubric: RubricInfo
    stations: tuple[StationMarks, ...]
    total: Total
    standing: Total
    settled: Settled | None = None
    #: What a reader should know: another version of the rubric, points for a step that is no longer there.
    notices: tuple[str, ...] = ()
    caution: str = CAUTION

    def marks(self) -> dict[str, Mark]:
        """Every mark by its step."""
        return {mark.step: mark for station in self.stations for mark in station.marks}
