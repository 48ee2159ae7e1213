"""Builds records by hand, so that the audit is tested apart from understanding.

``said("abdomen", "bowel_sounds", "absent", text="no bowel sounds")`` is one entry; ``run(...)`` a record of
several, in the order given, each with words of its own. With ``timed=True`` a word takes 0.4 seconds and
``pause`` is the silence before an entry.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

from lexicon import Lexicon, load
from parser.audit import audit
from parser.record import (
    Amendment,
    Entry,
    LexiconInfo,
    Measure,
    Record,
    RecordEvidence,
    RecordValue,
    RecordWord,
    RegionRecord,
    Remark,
    Run,
)

WORD = 0.4
MEASURES = (
    "blood_pressure",
    "temperature",
    "heart_rate",
    "respiratory_rate",
    "spo2",
    "pain_score",
    "height",
    "weight",
    "blood_glucose",
    "urine_output",
    "oxygen_flow",
    "age",
    "bmi",
)


@dataclass(frozen=True)
class Said:
    region: str
    concept: str
    status: str = "present"
    site: str | None = None
    side: str | None = None
    value: str | None = None
    unit: str | None = None
    qualifiers: tuple[str, ...] = ()
    text: str = ""
    pause: float = 0.1
    kind: str = "finding"
    confirm: str | None = None
    position: str | None = None
    superseded_by: str | None = None

    @property
    def words(self) -> list[str]:
        return (self.text or f"{self.concept.replace('_', ' ')} {self.value or self.status}").split()


def said(region: str, concept: str, status: str = "present", **more: Any) -> Said:
    kind = more.pop("kind", "measure" if concept in MEASURES else "finding")
    return Said(region, concept, status, kind=kind, **more)


def run(*entries: Said, timed: bool = False, amendments: tuple[Amendment, ...] = ()) -> Record:
    """A record of what was said, filed by station."""
    words: list[RecordWord] = []
    by_region: dict[str, list[Entry]] = {}
    measures: dict[str, list[Measure]] = {}
    clock = 0.0
    for n, item in enumerate(entries, 1):
        first = len(words)
        clock += item.pause
        start = clock
        for text in item.words:
            times = (round(clock, 2), round(clock + WORD, 2)) if timed else (None, None)
            words.append(RecordWord(text=text, heard=text, start=times[0], end=times[1], confidence=None, chars=(0, 0)))
            clock += WORD
        evidence = RecordEvidence(
            utterance=n,
            words=(first, len(words) - 1),
            start=start if timed else None,
            end=clock if timed else None,
            chars=(0, 0),
            text=" ".join(item.words),
        )
        entry = Entry(
            id=f"e{n}",
            concept=item.concept,
            label=item.concept.replace("_", " "),
            kind=item.kind,  # type: ignore[arg-type]
            status=item.status,
            site=item.site,
            side=item.side,
            value=_value(item),  # type: ignore[arg-type]
            qualifiers=item.qualifiers,
            evidence=evidence,
            confidence=1.0,
            confirm=item.confirm,
            superseded_by=item.superseded_by,
        )
        by_region.setdefault(item.region, []).append(entry)
        if item.kind == "measure":
            measures.setdefault(item.concept, []).append(_measure(entry, item))
    regions = tuple(
        RegionRecord(region=region, coverage="documented", entries=tuple(found)) for region, found in by_region.items()
    )
    return Record(
        run=Run(
            id="r1",
            source="by hand",
            duration_s=clock if timed else None,
            model=None,
            lexicon=LexiconInfo(version="test"),
        ),
        words=tuple(words),
        regions=regions,
        measures={k: tuple(v) for k, v in measures.items()},
        amendments=amendments,
    )


def _value(item: Said) -> RecordValue | None:
    if item.value is None:
        return None
    try:
        number: float | None = float(item.value)
    except ValueError:
        number = None
    return RecordValue(text=item.value, number=number, unit=item.unit, as_said=item.value)


def _measure(entry: Entry, item: Said) -> Measure:
    pair = [float(part) for part in item.value.split("/")] if item.value and item.value.count("/") == 1 else []
    return Measure(
        entry=entry.id,
        number=entry.value.number if entry.value else None,
        systolic=pair[0] if pair else None,
        diastolic=pair[1] if pair else None,
        unit=item.unit,
        position=item.position,
        qualifiers=item.qualifiers,
    )


@cache
def lexicon() -> Lexicon:
    return load()


def vital(concept: str, value: str, unit: str | None = None, **more: Any) -> Said:
    return said("vital_signs", concept, value=value, unit=unit, **more)


def bp(value: str, **more: Any) -> Said:
    return vital("blood_pressure", value, "mm[Hg]", **more)


def rules_of(*entries: Said, timed: bool = False, **options: object) -> dict[str, Remark]:
    """Rule -> remark for a record of these entries; remarks on what is missing left out."""
    remarks = audit(run(*entries, timed=timed), lexicon(), **options)  # type: ignore[arg-type]
    return {remark.rule: remark for remark in remarks if not remark.rule.startswith("missing")}


SOFT = said("abdomen", "soft", site="abdomen", text="abdomen soft")
SOUNDS = said(
    "abdomen", "bowel_sounds_active", site="all_four_quadrants", text="bowel sounds active in all four quadrants"
)
FLAT = said("abdomen", "flat", site="abdomen", text="abdomen flat")


def apical(pause: float, text: str = "apical pulse 76 regular") -> Said:
    return said("heart", "heart_rate", value="76", unit="/min", qualifiers=("apical",), text=text, pause=pause)


def pulse(side: str | None, site: str = "radial_artery", value: str = "2+") -> Said:
    return said("upper_extremities", "pulse", site=site, side=side, value=value, kind="scale")


def edema(status: str, text: str = "", **more: object) -> Said:
    return said("lower_extremities", "edema", status, text=text or f"edema {status}", **more)
