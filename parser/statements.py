"""Statements: what understanding yields, each with the words it came from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, get_args

from parser.transcript import Utterance

Kind = Literal["finding", "measure", "scale", "step", "device", "report", "conduct"]
Status = Literal["present", "absent", "normal", "not_assessed", "uncertain", "history", "family"]
Side = Literal["left", "right", "both", "midline"]

#: Stands between the sites of a statement about several ("radial_artery and brachial_artery").
AND = " and "

KINDS: tuple[str, ...] = get_args(Kind)
STATUSES: tuple[str, ...] = get_args(Status)
SIDES: tuple[str, ...] = get_args(Side)


@dataclass(frozen=True, slots=True)
class Evidence:
    """The words behind a statement.

    ``words`` are the first and last word (inclusive) in the run; ``chars`` the place in the text
    of the run; ``start`` and ``end`` seconds or None; ``text`` the words as filed, ``heard`` as
    recognised.
    """

    utterance: int
    words: tuple[int, int]
    start: float | None
    end: float | None
    chars: tuple[int, int]
    text: str
    heard: str


@dataclass(frozen=True, slots=True)
class Value:
    """A value in one canonical notation.

    ``text`` is "128/82", "2+", "5/5", "3x2x0.2", "<2", "98.6", "stage 2", "x4", "2-3", ...;
    ``number`` the single number where there is one; ``pair`` two numbers (a pressure);
    ``unit`` a UCUM code or None; ``as_said`` the words.
    """

    text: str
    as_said: str
    number: float | None = None
    pair: tuple[float, float] | None = None
    unit: str | None = None


@dataclass(frozen=True, slots=True)
class Statement:
    """One thing that was said about the person examined, or one step that was done.

    ``doubts`` are reasons in words why a person should confirm it. ``qualifiers`` are words of
    degree or quality as said ("mild", "pitting", "on room air").
    ``site`` is a site's id, or several joined by :data:`AND`. ``amends`` is set when the
    statement replaces an earlier one (a spoken correction), ``withdrawn`` when it only takes one
    back.
    """

    concept: str
    kind: Kind
    status: Status
    region: str
    evidence: Evidence
    label: str = ""
    site: str | None = None
    side: Side | None = None
    value: Value | None = None
    qualifiers: tuple[str, ...] = ()
    confidence: float = 1.0
    doubts: tuple[str, ...] = ()
    amends: "Amends | None" = None
    inferred: bool = False


@dataclass(frozen=True, slots=True)
class Amends:
    """A spoken correction: what the new statement does to the last compatible one."""

    action: Literal["replace", "withdraw"]
    cue: str
    target: Statement | None = None


@dataclass(frozen=True, slots=True)
class Situation:
    """What the run has made current. Passed in and returned, never global.

    ``pending`` holds words of an utterance that broke off before its meaning was complete
    ("blood pressure" ... "one twenty over eighty"); they are read with the next utterance.
    """

    region: str | None = None
    site: str | None = None
    side: Side | None = None
    posture: str | None = None
    recent: tuple[Statement, ...] = field(default=())
    pending: Utterance | None = None
