"""The note as an HL7 FHIR R4 document: a Bundle with a Composition in front and one section a station."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from html import escape
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from fhir.resources.R4B.bundle import Bundle

from lexicon import Lexicon
from parser.note.document import Document, Style, document, paragraphs
from parser.note.facts import standing
from parser.note.fhir_checks import faults
from parser.note.fhir_codes import ACT_REASON, EMPTY_REASON, LOINC, NURSE_NOTE
from parser.note.fhir_observations import Json, Observing
from parser.note.grammar import grammar_of
from parser.note.narrative import Paragraph
from parser.record import Record

_SYSTEM = "urn:crownsole:run"


def write(record: Record, lexicon: Lexicon, style: Style) -> str:
    """The bundle as JSON on one line. Raises ValueError when ``style.moment`` is missing or a check fails."""
    bundle_ = document_bundle(record, lexicon, style)
    Bundle.model_validate(bundle_)
    wrong = faults(bundle_)
    if wrong:
        raise ValueError(f"the FHIR document of run {record.run.id} is not valid: {'; '.join(wrong)}")
    return json.dumps(bundle_, ensure_ascii=False) + "\n"


def bundle(pages: Sequence[str]) -> str:
    """One document a line (NDJSON)."""
    return "".join(pages)


def document_bundle(record: Record, lexicon: Lexicon, style: Style) -> Json:
    """The bundle as plain values. The moment of writing stands for the time of the run, which is not recorded."""
    if not style.moment:
        raise ValueError("a FHIR document needs the moment of writing; give Style(moment=...) in ISO 8601")
    note = document(record, lexicon, style)

    def link(name: str) -> str:
        return f"urn:uuid:{uuid5(NAMESPACE_URL, f'{_SYSTEM}:{record.run.id}:{name}')}"

    observing = Observing(lexicon, style.moment, link)
    measures = {m.entry: m for group in record.measures.values() for m in group}
    resources: list[tuple[str, Json]] = [("patient", _patient(record)), ("device", _device(record))]
    known: dict[str, str] = {}
    for _, entry in standing(record):
        known[entry.id] = link(entry.id)
        resources.append((entry.id, observing.of_entry(entry, measures.get(entry.id))))
    computed = [f"computed-{place}-{value.name}" for place, value in enumerate(note.computed)]
    resources += [(name, observing.of_computed(value, known))
                  for name, value in zip(computed, note.computed, strict=True)]
    closing = _closing(note, [link(name) for name in computed], style.wording)
    sections = [*_stations(record, lexicon, note, known), *closing]
    composition = _composition(note, style.moment, sections, link("patient"), link("device"))
    entries = [("composition", composition), *resources]
    return {"resourceType": "Bundle", "identifier": {"system": _SYSTEM, "value": record.run.id}, "type": "document",
            "timestamp": style.moment, "entry": [_entry(link(name), each) for name, each in entries]}


def _entry(address: str, resource: Json) -> Json:
    return {"fullUrl": address, "resource": {**resource, "id": address.removeprefix("urn:uuid:")}}


def _patient(record: Record) -> Json:
    tag = {"system": ACT_REASON, "code": "HTEST", "display": "test health data"}
    return {"resourceType": "Patient", "meta": {"tag": [tag]}, "active": False,
            "identifier": [{"system": f"{_SYSTEM}:person", "value": record.run.id}],
            "name": [{"use": "anonymous", "text": "Simulated person of a practice run"}]}


def _device(record: Record) -> Json:
    versions = [{"value": f"lexicon {record.run.lexicon.version}"}]
    versions += [{"value": f"model {record.run.model.name}"}] if record.run.model else []
    return {"resourceType": "Device", "deviceName": [{"name": "Crownsole", "type": "user-friendly-name"}],
            "version": versions, "note": [{"text": "A practice and documentation aid, not a medical device."}]}


def _composition(note: Document, moment: str, sections: list[Json], patient: str, device: str) -> Json:
    coding = {"system": LOINC, "code": NURSE_NOTE, "display": "Nurse Note"}
    return {"resourceType": "Composition", "status": "preliminary", "type": {"coding": [coding]},
            "subject": {"reference": patient}, "date": moment, "author": [{"reference": device}], "title": note.title,
            "text": _text([note.title, *note.cautions], status="generated"), "section": sections}


def _stations(record: Record, lexicon: Lexicon, note: Document, known: dict[str, str]) -> Iterable[Json]:
    mark = grammar_of(lexicon).templates["confirm"]
    written = {paragraph.region: paragraph for paragraph in paragraphs(record, lexicon, "narrative")}
    for station in note.strip:
        region = lexicon.regions.get(station.region)
        section: Json = {"title": station.title}
        if region is not None and region.loinc:
            section["code"] = {"coding": [{"system": LOINC, "code": region.loinc}], "text": station.title}
        entries = [e.id for name, e in standing(record) if name == station.region]
        paragraph = written.get(station.region)
        section["text"] = _text([_prose(paragraph, mark) if paragraph else "Not documented in this run."])
        if entries:
            section["entry"] = [{"reference": known[entry]} for entry in entries]
        else:
            reason = {"system": EMPTY_REASON, "code": "notasked", "display": "Not Asked"}
            section["emptyReason"] = {"coding": [reason], "text": "not documented in this run"}
        yield section


def _prose(paragraph: Paragraph, mark: str) -> str:
    return " ".join(text for each in paragraph.sentences if (text := each.shown(mark)))


def _closing(note: Document, computed: Sequence[str], wording: str) -> Iterable[Json]:
    """What follows the stations; a wording other than the narrative is a section of its own."""
    if wording != "narrative" and note.paragraphs:
        yield {"title": note.heading, "text": _text([f"{each.title}: {each.text}" for each in note.paragraphs])}
    if computed:
        yield {"title": "Computed values", "text": _text([f"{c.label}: {c.formula}" for c in note.computed]),
               "entry": [{"reference": address} for address in computed]}
    if note.trail:
        yield {"title": "Corrections", "text": _text(note.trail)}
    if note.remarks:
        yield {"title": "What needs attention", "text": _text([f"{r.severity}: {r.message}" for r in note.remarks])}


def _text(paragraphs: Sequence[str], status: str = "generated") -> dict[str, Any]:
    body = "".join(f"<p>{escape(text)}</p>" for text in paragraphs)
    return {"status": status, "div": f'<div xmlns="http://www.w3.org/1999/xhtml">{body}</div>'}
