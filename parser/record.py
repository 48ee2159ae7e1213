"""The record: the published contract ``crownsole-record/1``.

Plain frozen models that serialise to JSON. Entries are never changed or removed: an
:class:`Amendment` supersedes an entry and names what it supersedes, when and by whom.
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from parser.statements import Kind, Side, Status

SCHEMA: Literal["crownsole-record/1"] = "crownsole-record/1"

Coverage = Literal["documented", "partial", "missing"]
Severity = Literal["note", "attention", "urgent"]


class Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class RecordWord(Part):
    """A word of the run; times in seconds from its start, None for text input."""

    text: str
    heard: str
    start: float | None
    end: float | None
    confidence: float | None
    chars: tuple[int, int]
    doubt: str | None = None


class RecordEvidence(Part):
    """Where an entry comes from. ``words`` are first and last word (inclusive) in ``Record.words``."""

    utterance: int
    words: tuple[int, int]
    start: float | None
    end: float | None
    chars: tuple[int, int]
    text: str


class RecordValue(Part):
    """``number`` only for a single number; ``unit`` a UCUM code or None; ``as_said`` the words."""

    text: str
    number: float | None
    unit: str | None
    as_said: str


class Entry(Part):
    """One finding, measure, scale, step, device, report or word to the person."""

    id: str
    concept: str
    label: str
    kind: Kind
    status: Status
    site: str | None
    side: Side | None
    value: RecordValue | None
    qualifiers: tuple[str, ...]
    evidence: RecordEvidence
    confidence: float
    confirm: str | None = None
    superseded_by: str | None = None
    inferred: bool = False


class RegionRecord(Part):
    region: str
    coverage: Coverage
    entries: tuple[Entry, ...]
    #: What a complete run would still say here, in words to say.
    missing: tuple[str, ...] = ()


class Amendment(Part):
    """What superseded what: ``entry`` replaces ``supersedes`` (or withdraws it when entry is None)."""

    id: str
    supersedes: str
    entry: str | None
    kind: Literal["spoken", "page", "confirmation", "withdrawal"]
    by: str
    at: str | None
    evidence: RecordEvidence | None
    reason: str | None = None


class Measure(Part):
    """A vital sign or body measure in plain numbers, with the entry it stands in."""

    entry: str
    number: float | None = None
    systolic: float | None = None
    diastolic: float | None = None
    unit: str | None = None
    site: str | None = None
    side: Side | None = None
    position: str | None = None
    qualifiers: tuple[str, ...] = ()


class Computed(Part):
    """A value computed from entries; ``from_`` (JSON ``from``) lists them."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, serialize_by_alias=True)

    name: str
    label: str
    value: float | None
    unit: str | None
    from_: tuple[str, ...] = Field(alias="from")
    formula: str
    source: str
    note: str | None = None
    missing: tuple[str, ...] = ()


class Remark(Part):
    """What the audit has to say. ``say`` is what to say next time, ``weight`` ranks the debrief."""

    rule: str
    severity: Severity
    region: str | None
    message: str
    evidence: tuple[RecordEvidence, ...]
    source: str
    entries: tuple[str, ...] = ()
    say: str | None = None
    weight: float = 1.0


class Unfiled(Part):
    """Words that were understood as no finding; nothing that was said is lost."""

    text: str
    evidence: RecordEvidence
    reason: str | None = None


class ModelInfo(Part):
    name: str
    vocabulary: str | None = None


class LexiconInfo(Part):
    version: str
    packs: tuple[str, ...] = ()


class Run(Part):
    id: str
    source: str
    duration_s: float | None
    model: ModelInfo | None
    lexicon: LexiconInfo
    remarks: tuple[str, ...] = ()


class Record(Part):
    """One run as filed: regions in record order, each entry with its evidence.

    ``schema_`` stands in JSON as ``schema``.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True, serialize_by_alias=True)

    schema_: Literal["crownsole-record/1"] = Field(default=SCHEMA, alias="schema")
    run: Run
    words: tuple[RecordWord, ...]
    regions: tuple[RegionRecord, ...]
    measures: dict[str, tuple[Measure, ...]]
    computed: tuple[Computed, ...] = ()
    remarks: tuple[Remark, ...] = ()
    amendments: tuple[Amendment, ...] = ()
    unfiled: tuple[Unfiled, ...] = ()

    def entries(self) -> dict[str, tuple[str, Entry]]:
        """Every entry by id, with its region."""
        return {entry.id: (region.region, entry) for region in self.regions for entry in region.entries}
