"""Observations of a FHIR document: vital signs by their profiles, scores, findings in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from lexicon import Lexicon
from parser.conversion import convert
from parser.note.fhir_codes import (
    ABSENT_REASON,
    CATEGORY,
    DIASTOLIC,
    INTERPRETATION,
    LOINC,
    PROFILE,
    SYSTOLIC,
    UCUM,
    VITALS,
    Vital,
)
from parser.note.placing import Placing
from parser.record import Computed, Entry, Measure

Json = dict[str, Any]
_MEANING = {"present": ("POS", "Positive"), "absent": ("NEG", "Negative"), "normal": ("N", "Normal"),
            "uncertain": ("IND", "Indeterminate")}
_WORDS = {"present": "present", "absent": "absent", "normal": "normal", "uncertain": "uncertain",
          "history": "history of it", "family": "in the family"}


@dataclass(frozen=True, eq=False)
class Observing:
    """Makes Observations. ``moment`` is their ISO 8601 time, ``link`` gives the address of an id."""

    lexicon: Lexicon
    moment: str
    link: Callable[[str], str]

    def of_entry(self, entry: Entry, measure: Measure | None) -> Json:
        """One Observation for one standing entry."""
        vital = VITALS.get(entry.concept)
        base = self._base(self._code(entry, vital), self._category(entry, vital))
        if vital and measure:
            base["meta"] = {"profile": [PROFILE + "vitalsigns", PROFILE + vital.profile]}
        place = Placing(self.lexicon).subject(entry) or {"both": "both sides"}.get(entry.side or "", entry.side or "")
        if place:
            base["bodySite"] = {"text": place}
        base |= self._content(entry, vital, measure)
        notes = [f'Said: "{entry.evidence.text}"']
        notes += [", ".join(entry.qualifiers)] if entry.qualifiers else []
        notes += [f"To be confirmed: {entry.confirm}"] if entry.confirm else []
        base["note"] = [{"text": text} for text in notes]
        return base

    def of_computed(self, value: Computed, known: Mapping[str, str]) -> Json:
        """One Observation for a computed value, derived from the ones it was computed from."""
        vital = VITALS.get(value.name)
        code: Json = {"text": value.label}
        if vital:
            code["coding"] = _codings(vital)
        base = self._base(code, "vital-signs" if vital else "exam")
        if vital:
            base["meta"] = {"profile": [PROFILE + "vitalsigns", PROFILE + vital.profile]}
        base["valueQuantity"] = _quantity(value.value or 0, value.unit or "1")
        sources = [{"reference": known[entry]} for entry in value.from_ if entry in known]
        if sources:
            base["derivedFrom"] = sources
        notes = [f"{value.formula}. Source: {value.source}", *([value.note] if value.note else [])]
        base["note"] = [{"text": text} for text in notes]
        return base

    def _base(self, code: Json, category: str) -> Json:
        return {"resourceType": "Observation", "status": "preliminary",
                "category": [{"coding": [{"system": CATEGORY, "code": category}]}], "code": code,
                "subject": {"reference": self.link("patient")}, "effectiveDateTime": self.moment,
                "device": {"reference": self.link("device")}}

    def _code(self, entry: Entry, vital: Vital | None) -> Json:
        code: Json = {"text": entry.label}
        if vital:
            code["coding"] = _codings(vital)
        elif loinc := self._loinc(entry):
            code["coding"] = [{"system": LOINC, "code": loinc}]
        return code

    def _loinc(self, entry: Entry) -> str | None:
        for file in ("measures", "scales"):
            for each in getattr(self.lexicon.files.get(file), file, ()):
                if each.id == entry.concept:
                    return str(each.loinc) if each.loinc else None
        return None

    def _category(self, entry: Entry, vital: Vital | None) -> str:
        if vital or entry.kind == "measure":
            return "vital-signs" if vital else "exam"
        return {"report": "survey", "step": "procedure", "device": "exam"}.get(entry.kind, "exam")

    def _content(self, entry: Entry, vital: Vital | None, measure: Measure | None) -> Json:
        if entry.status == "not_assessed":
            reason = {"system": ABSENT_REASON, "code": "not-performed", "display": "Not Performed"}
            return {"dataAbsentReason": {"coding": [reason], "text": "not assessed"}}
        if vital and measure:
            return _vital(entry, vital, measure)
        value = entry.value
        if value is not None and entry.status == "present":
            if value.number is not None and (entry.kind == "measure" or value.text == f"{value.number:g}"):
                unit = value.unit or "{score}"
                return {"valueQuantity": _quantity(value.number, unit)}
            return {"valueString": f"{value.text} {value.unit or ''}".strip()}
        content: Json = {"valueCodeableConcept": {"text": _worded(entry)}}
        if entry.status in _MEANING:
            code, display = _MEANING[entry.status]
            content["interpretation"] = [{"coding": [{"system": INTERPRETATION, "code": code, "display": display}]}]
        return content


def _worded(entry: Entry) -> str:
    word = "done" if entry.kind == "step" and entry.status == "present" else _WORDS[entry.status]
    return f"{word}, {entry.value.text}" if entry.value else word


def _vital(entry: Entry, vital: Vital, measure: Measure) -> Json:
    if vital.profile == "bp":
        return {"component": [_part(SYSTOLIC, _side(entry, measure, "systolic")),
                              _part(DIASTOLIC, _side(entry, measure, "diastolic"))]}
    value = entry.value
    number, unit = (value.number, value.unit) if value else (None, None)
    if number is not None and unit not in vital.units:
        unit, number = next(((u, n) for u in vital.units if unit and (n := convert(number, unit, u)) is not None),
                            (unit, None))
    if number is None or unit is None:
        return {"dataAbsentReason": _unknown()}
    return {"valueQuantity": _quantity(round(number, 4), unit)}


def _side(entry: Entry, measure: Measure, part: str) -> float | None:
    if entry.concept == f"{part}_pressure":
        return measure.number
    return measure.systolic if part == "systolic" else measure.diastolic


def _part(code: tuple[str, str], number: float | None) -> Json:
    part: Json = {"code": {"coding": [{"system": LOINC, "code": code[0], "display": code[1]}]}}
    if number is None:
        part["dataAbsentReason"] = _unknown()
    else:
        part["valueQuantity"] = _quantity(number, "mm[Hg]")
    return part


def _unknown() -> Json:
    return {"coding": [{"system": ABSENT_REASON, "code": "unknown", "display": "Unknown"}]}


def _codings(vital: Vital) -> list[Json]:
    own = [{"system": LOINC, "code": vital.loinc, "display": vital.display}]
    return own + [{"system": LOINC, "code": code, "display": display} for code, display in vital.also]


def _quantity(number: float, unit: str) -> Json:
    value = int(number) if float(number).is_integer() else number
    return {"value": value, "unit": {"{score}": "score", "1": "1"}.get(unit, unit), "system": UCUM, "code": unit}

