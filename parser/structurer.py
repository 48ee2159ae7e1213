"""Files statements into a record: stations in order, entries with evidence, corrections as amendments."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from lexicon import Lexicon
from parser.audit import audit
from parser.audit.completeness import coverage
from parser.pipeline import Understood
from parser.record import (
    Amendment,
    Entry,
    LexiconInfo,
    Measure,
    ModelInfo,
    Record,
    RecordEvidence,
    RecordValue,
    RecordWord,
    RegionRecord,
    Run,
    Unfiled,
)
from parser.scores import computed
from parser.settings import USUAL, Settings
from parser.statements import Evidence, Statement, Value
from parser.transcript import Transcript, Utterance

_NOT_WORDS = re.compile(r"[\W_]+")
_POSITIONS = ("sitting", "lying", "standing", "supine", "prone", "semi-Fowler", "left lateral")


@dataclass(slots=True)
class Filing:
    """Collects the entries of one run in the order they were said. One writer; read with :meth:`entries`."""

    lexicon: Lexicon
    entries: list[tuple[str, Entry]] = field(default_factory=list)
    values: dict[str, Value] = field(default_factory=dict)
    amendments: list[Amendment] = field(default_factory=list)
    unfiled: list[Unfiled] = field(default_factory=list)
    _places: dict[tuple[str, tuple[int, int], str], str] = field(default_factory=dict)

    def add(self, understood: Understood) -> list[Entry]:
        """File what one utterance came to; returns the new entries."""
        new = self.enter(understood.statements)
        self.leave(understood)
        return new

    def enter(self, statements: Iterable[Statement]) -> list[Entry]:
        """File statements; returns the new entries."""
        return [entry for statement in statements if (entry := self._file(statement)) is not None]

    def move(self, old: str, new: str) -> None:
        """Let later corrections of what entry ``old`` says reach entry ``new``."""
        self._places.update({key: new for key, entry in self._places.items() if entry == old})

    def copy(self) -> Filing:
        """The same entries, to be filed on independently."""
        return Filing(
            self.lexicon,
            list(self.entries),
            dict(self.values),
            list(self.amendments),
            list(self.unfiled),
            dict(self._places),
        )

    def _file(self, statement: Statement) -> Entry | None:
        amends = statement.amends
        target = self._find(amends.target) if amends and amends.target else None
        if amends and amends.action == "withdraw":
            if target is not None:
                self._supersede(target, None, statement, amends.cue, "withdrawal")
            return None
        entry = self._entry(statement)
        self.entries.append((statement.region, entry))
        self._places[_key(statement)] = entry.id
        if statement.value is not None:
            self.values[entry.id] = statement.value
        if target is not None and amends is not None:
            self._supersede(target, entry.id, statement, amends.cue, "spoken")
        return entry

    def _entry(self, statement: Statement) -> Entry:
        value = statement.value
        return Entry(
            id=f"e{len(self.entries) + 1}",
            concept=statement.concept,
            label=statement.label or statement.concept,
            kind=statement.kind,
            status=statement.status,
            site=statement.site.replace("_", " ") if statement.site else None,
            side=statement.side,
            value=RecordValue(text=value.text, number=value.number, unit=value.unit, as_said=value.as_said)
            if value
            else None,
            qualifiers=statement.qualifiers,
            evidence=evidence_of(statement.evidence),
            confidence=statement.confidence,
            confirm="; ".join(statement.doubts) or None,
            inferred=statement.inferred,
        )

    def _find(self, target: Statement) -> str | None:
        return self._places.get(_key(target))

    def _supersede(
        self, old: str, new: str | None, statement: Statement, cue: str, kind: Literal["spoken", "withdrawal"]
    ) -> None:
        number = f"a{len(self.amendments) + 1}"
        for i, (region, entry) in enumerate(self.entries):
            if entry.id == old:
                self.entries[i] = (region, entry.model_copy(update={"superseded_by": new or number}))
        self.amendments.append(
            Amendment(
                id=number,
                supersedes=old,
                entry=new,
                kind=kind,
                by="speaker",
                at=None,
                evidence=evidence_of(statement.evidence),
                reason=f'said "{cue}"',
            )
        )

    def leave(self, understood: Understood) -> None:
        """Stretches of an utterance that became no entry, when they hold any word."""
        utterance = understood.utterance
        taken = sorted(statement.evidence.chars for statement in understood.statements)
        for aside, chars in understood.asides:
            self.unfile(utterance, chars, f"{aside.kind}: {aside.id}" if aside.id else aside.kind)
            taken.append(chars)
        if not understood.statements:
            at = utterance.offset
            for start, end in sorted(taken):
                self.unfile(utterance, (at, start), None)
                at = max(at, end)
            self.unfile(utterance, (at, utterance.offset + len(utterance.text)), None)

    def unfile(self, utterance: Utterance, chars: tuple[int, int], reason: str | None) -> None:
        """Keep a stretch of an utterance as words that became no entry, when it holds any word."""
        start, end = chars[0] - utterance.offset, chars[1] - utterance.offset
        text = utterance.text[start:end].strip()
        if not _NOT_WORDS.sub("", text):
            return
        words = [i for i, word in enumerate(utterance.words) if word.chars[0] < chars[1] and word.chars[1] > chars[0]]
        first, last = (words[0], words[-1]) if words else (0, 0)
        heard = utterance.words[first : last + 1]
        self.unfiled.append(
            Unfiled(
                text=text,
                reason=reason,
                evidence=RecordEvidence(
                    utterance=utterance.number,
                    words=(utterance.first_word + first, utterance.first_word + last),
                    start=heard[0].start if heard else None,
                    end=heard[-1].end if heard else None,
                    chars=chars,
                    text=text,
                ),
            )
        )


def _key(statement: Statement) -> tuple[str, tuple[int, int], str]:
    return (
        statement.concept,
        statement.evidence.chars,
        f"{statement.site}/{statement.side}/{statement.value.text if statement.value else ''}",
    )


def evidence_of(evidence: Evidence) -> RecordEvidence:
    return RecordEvidence(
        utterance=evidence.utterance,
        words=evidence.words,
        start=evidence.start,
        end=evidence.end,
        chars=evidence.chars,
        text=evidence.text,
    )


def file(
    understood: Iterable[Understood],
    transcript: Transcript,
    lexicon: Lexicon,
    *,
    run_id: str,
    model: ModelInfo | None = None,
    checklist: str = "complete",
    settings: Settings = USUAL,
) -> Record:
    """The audited record of a run. Deterministic: the same words and lexicon give the same record."""
    filing = Filing(lexicon)
    for one in understood:
        filing.add(one)
    return assemble(filing, transcript, run_id=run_id, model=model, checklist=checklist, settings=settings)


def assemble(
    filing: Filing, transcript: Transcript, *, run_id: str, model: ModelInfo | None, checklist: str, settings: Settings,
    words: tuple[RecordWord, ...] | None = None,
) -> Record:
    """Put what was filed into stations, and add coverage, computed values and remarks.

    ``words`` are those of the transcript, where they were made before.
    """
    lexicon = filing.lexicon
    words = words if words is not None else record_words(transcript)
    covered = coverage(filing.entries, lexicon, checklist, words)
    regions = tuple(
        RegionRecord(
            region=region,
            coverage=covered[region][0],
            missing=covered[region][1],
            entries=tuple(entry for home, entry in filing.entries if home == region),
        )
        for region in lexicon.region_order
    )
    run = Run(
        id=run_id,
        source=transcript.source,
        duration_s=transcript.duration_s,
        model=model,
        lexicon=LexiconInfo(version=lexicon.version, packs=tuple(pack.signature for pack in lexicon.signed)),
        remarks=transcript.remarks,
    )
    record = Record(
        run=run,
        words=words,
        regions=regions,
        measures=measures_of(filing.entries, filing.values),
        amendments=tuple(filing.amendments),
        unfiled=tuple(filing.unfiled),
    )
    record = record.model_copy(update={"computed": computed(record, lexicon, settings)})
    return record.model_copy(update={"remarks": audit(record, lexicon, checklist, settings)})


def record_words(transcript: Transcript) -> tuple[RecordWord, ...]:
    """The words of a transcript as a record holds them."""
    return tuple(
        RecordWord(
            text=w.text, heard=w.heard, start=w.start, end=w.end, confidence=w.confidence, chars=w.chars, doubt=w.doubt
        )
        for w in transcript.words
    )


def measures_of(entries: Sequence[tuple[str, Entry]], values: dict[str, Value]) -> dict[str, tuple[Measure, ...]]:
    """Measures and scores by name, in the order they were said; superseded ones are left out."""
    found: dict[str, list[Measure]] = {}
    for region, entry in entries:
        value = values.get(entry.id)
        scored = entry.kind == "measure" or (entry.kind == "scale" and region == "vital_signs")
        if not scored or value is None or entry.superseded_by is not None or entry.status != "present":
            continue
        systolic, diastolic = value.pair or (None, None)
        position = next((q for q in entry.qualifiers if q in _POSITIONS), None)
        site = entry.site or next(
            (q for q in entry.qualifiers if q.endswith((" arm", " leg", " wrist", " thigh"))), None
        )
        found.setdefault(entry.concept, []).append(
            Measure(
                entry=entry.id,
                number=value.number,
                systolic=systolic,
                diastolic=diastolic,
                unit=value.unit,
                site=site,
                side=entry.side,
                position=position,
                qualifiers=entry.qualifiers,
            )
        )
    return {name: tuple(measures) for name, measures in found.items()}
