"""What a FHIR document must hold beyond its structure: references, order, codes, units, profile rules.

Rules: HL7 FHIR R4 (4.0.1), bdl-9 to bdl-11 (documents), cmp-1 and cmp-2 (sections), obs-6 and obs-7
(values), and the vital-signs profiles.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from parser.note.fhir_codes import LOINC, PROFILE, UCUM, VITALS, check_digit

Json = dict[str, Any]
_ACTIVE = re.compile(r"<\s*(script|iframe|object|embed|form|link|style|img)|\son\w+\s*=|javascript:", re.I)
_MOMENT = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?(Z|[+-]\d{2}:\d{2})")
_BY_PROFILE = {PROFILE + vital.profile: vital for vital in VITALS.values()}
_STATUSES = ("registered", "preliminary", "final", "amended", "corrected", "cancelled", "entered-in-error", "unknown")


def faults(bundle: Json) -> list[str]:
    """Every fault in words; empty when the document is sound."""
    return [*_bundle(bundle), *_references(bundle), *_sections(bundle),
            *(fault for entry in bundle["entry"] if entry["resource"]["resourceType"] == "Observation"
              for fault in _observation(entry["resource"])),
            *_codes(bundle)]


def _bundle(bundle: Json) -> Iterator[str]:
    if bundle.get("type") != "document":
        yield "the bundle is no document"
    if not {"system", "value"} <= bundle.get("identifier", {}).keys():
        yield "the document has no identifier with system and value (bdl-9)"
    if not _MOMENT.fullmatch(bundle.get("timestamp", "")):
        yield "the document has no full date and time (bdl-10)"
    if bundle["entry"][0]["resource"]["resourceType"] != "Composition":
        yield "the first resource is no Composition (bdl-11)"
    addresses = [entry["fullUrl"] for entry in bundle["entry"]]
    if len(set(addresses)) != len(addresses):
        yield "two resources have one address (bdl-7)"


def _references(bundle: Json) -> Iterator[str]:
    known = {entry["fullUrl"] for entry in bundle["entry"]}
    for reference in _find(bundle, "reference"):
        if reference not in known:
            yield f"the reference {reference} leads nowhere"


def _find(value: Any, key: str) -> Iterator[Any]:
    if isinstance(value, dict):
        for name, inner in value.items():
            if name == key:
                yield inner
            else:
                yield from _find(inner, key)
    elif isinstance(value, list):
        for inner in value:
            yield from _find(inner, key)


def _sections(bundle: Json) -> Iterator[str]:
    for section in bundle["entry"][0]["resource"].get("section", ()):
        if not any(section.get(part) for part in ("text", "entry", "section")):
            yield f"the section {section.get('title')} is empty (cmp-1)"
        if section.get("emptyReason") and section.get("entry"):
            yield f"the section {section.get('title')} has entries and a reason for none (cmp-2)"
    for div in _find(bundle, "div"):
        if _ACTIVE.search(div):
            yield "a narrative holds active content (txt-1)"


def _observation(each: Json) -> Iterator[str]:
    name = each["code"].get("text", "an observation")
    if each.get("status") not in _STATUSES:
        yield f"{name}: the status {each.get('status')} is not known"
    values = [key for key in each if key.startswith("value")]
    if len(values) > 1 or (values and "dataAbsentReason" in each):
        yield f"{name}: more than one value, or a value and a reason for none (obs-6)"
    for profile in each.get("meta", {}).get("profile", ()):
        if profile in _BY_PROFILE:
            yield from _profiled(each, profile, name)


def _profiled(each: Json, profile: str, name: str) -> Iterator[str]:
    vital = _BY_PROFILE[profile]
    if vital.loinc not in [coding["code"] for coding in each["code"].get("coding", ())]:
        yield f"{name}: the profile wants LOINC {vital.loinc}"
    if "vital-signs" not in [c["code"] for category in each["category"] for c in category["coding"]]:
        yield f"{name}: the profile wants the category vital-signs"
    if vital.profile == "bp":
        codes = [part["code"]["coding"][0]["code"] for part in each.get("component", ())]
        if codes != ["8480-6", "8462-4"]:
            yield f"{name}: the profile wants systolic and diastolic components"
        quantities = [part["valueQuantity"] for part in each.get("component", ()) if "valueQuantity" in part]
        units: tuple[str, ...] = ("mm[Hg]",)
    else:
        quantities, units = [each["valueQuantity"]] if "valueQuantity" in each else [], vital.units
        if not quantities and "dataAbsentReason" not in each:
            yield f"{name}: neither a value nor a reason for none (vs-2)"
    for quantity in quantities:
        if quantity.get("system") != UCUM or quantity.get("code") not in units:
            yield f"{name}: the unit {quantity.get('code')} is not of the profile"


def _codes(bundle: Json) -> Iterator[str]:
    for codings in _find(bundle, "coding"):
        for coding in codings:
            if coding.get("system") == LOINC and not check_digit(coding["code"]):
                yield f"the LOINC code {coding['code']} has a wrong check digit"
