"""What an archive holds, as frozen values: the head of a run, its events and its sound; and their hashes.

The hash of a run's head is SHA-256 over its canonical JSON; the hash of an event is SHA-256 over the hash before
it and the event's own content, so that a changed, lost or added event shows.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Literal, Self

Kind = Literal[
    "sound",
    "utterance",
    "request",
    "resumption",
    "remark",
    "statement",
    "direction",
    "mark",
    "amendment",
    "confirmation",
    "ending",
    "filed",
    "marking",
]
Status = Literal["under way", "interrupted", "finished"]
RunKind = Literal["live", "hear", "read"]

#: What comes in from outside: words, requests of the page, a run gone on with, remarks of the machine.
INPUTS: frozenset[str] = frozenset(["utterance", "request", "resumption", "remark"])
#: What follows from the inputs alone, and is the same in every replay with the same lexicon.
OUTCOMES: frozenset[str] = frozenset(["statement", "direction", "mark", "amendment", "confirmation", "ending"])
#: Points that a person gave, or that they let stand: neither words nor record change by them.
MARKING: Kind = "marking"


@dataclass(frozen=True, slots=True)
class Head:
    """What is known of a run when it begins. ``made_at`` is UTC in ISO 8601; ``packs`` are lexicon folders."""

    id: str
    kind: RunKind
    source: str
    made_at: str
    lexicon: str
    packs: tuple[str, ...] = ()
    checklist: str = "complete"
    model: str | None = None
    vocabulary: str | None = None

    def as_json(self) -> str:
        return canonical(asdict(self))

    @property
    def hash(self) -> str:
        return digest(self.as_json().encode())

    @classmethod
    def from_json(cls, text: str) -> Self:
        """Raises :class:`ValueError` when the text is no head."""
        try:
            values = json.loads(text)
            head = cls(**{**values, "packs": tuple(values["packs"])})
        except (TypeError, KeyError, AttributeError) as error:
            raise ValueError("this is no head of a run") from error
        texts = (head.id, head.kind, head.source, head.made_at, head.lexicon, head.checklist, *head.packs)
        if not all(isinstance(text, str) for text in texts) or head.kind not in ("live", "hear", "read"):
            raise ValueError("this is no head of a run")
        return head


@dataclass(frozen=True, slots=True)
class Event:
    """One event of a run. ``number`` counts from 1 without gaps; ``at`` is UTC in ISO 8601; ``body`` is plain JSON."""

    number: int
    kind: Kind
    at: str
    body: Mapping[str, Any] = field(hash=False)
    hash: str = ""

    def chained(self, previous: str) -> str:
        """The hash of this event after an event (or head) with the hash ``previous``."""
        content = canonical([self.number, self.kind, self.at, dict(self.body)])
        return digest(f"{previous}\n{content}".encode())


@dataclass(frozen=True, slots=True)
class Segment:
    """At most one second of sound as a FLAC file; ``start`` and ``samples`` in samples at 16 kHz."""

    number: int
    start: int
    samples: int
    sha256: str
    data: bytes = field(repr=False)

    @property
    def body(self) -> dict[str, Any]:
        """The body of the event that tells of this segment."""
        return {"segment": self.number, "start": self.start, "samples": self.samples, "sha256": self.sha256}


@dataclass(frozen=True, slots=True)
class RunInfo:
    """A run as listed. ``seconds`` of sound; ``status`` tells whether it was ended, is being written, or broke off.

    ``learner`` and ``attempt`` tell whose run it is, where that was said.
    """

    head: Head
    status: Status
    events: int
    utterances: int
    seconds: float
    learner: str | None = None
    attempt: int | None = None

    @property
    def id(self) -> str:
        return self.head.id


def canonical(value: object) -> str:
    """JSON with one spelling. Raises :class:`ValueError` for NaN and infinities."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)


def digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
