"""Codes of the FHIR R4 vital-signs profiles, as data: LOINC code, UCUM units and profile of each.

Source: HL7 FHIR R4 (4.0.1), observation-vitalsigns and its derived profiles; LOINC codes from the same
tables. This material contains content from LOINC (http://loinc.org). LOINC is copyright Regenstrief
Institute, Inc. and the LOINC Committee and is available at no cost under the license at
http://loinc.org/license.
"""

from __future__ import annotations

from typing import NamedTuple

LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
INTERPRETATION = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"
ABSENT_REASON = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
EMPTY_REASON = "http://terminology.hl7.org/CodeSystem/list-empty-reason"
ACT_REASON = "http://terminology.hl7.org/CodeSystem/v3-ActReason"
PROFILE = "http://hl7.org/fhir/StructureDefinition/"
#: Document type: nurse note (LOINC; from memory, its check digit recomputed).
NURSE_NOTE = "34746-8"


class Vital(NamedTuple):
    """One line of the profile table; ``also`` are LOINC codes added beside the fixed one."""

    loinc: str
    display: str
    units: tuple[str, ...]
    profile: str
    also: tuple[tuple[str, str], ...] = ()


#: Measure or computed value -> its line.
VITALS: dict[str, Vital] = {
    "respiratory_rate": Vital("9279-1", "Respiratory rate", ("/min",), "resprate"),
    "heart_rate": Vital("8867-4", "Heart rate", ("/min",), "heartrate"),
    "spo2": Vital("2708-6", "Oxygen saturation in Arterial blood", ("%",), "oxygensat",
                  (("59408-5", "Oxygen saturation in Arterial blood by Pulse oximetry"),)),
    "temperature": Vital("8310-5", "Body temperature", ("Cel", "[degF]"), "bodytemp"),
    "height": Vital("8302-2", "Body height", ("cm", "[in_i]"), "bodyheight"),
    "head_circumference": Vital("9843-4", "Head Occipital-frontal circumference", ("cm", "[in_i]"), "headcircum"),
    "weight": Vital("29463-7", "Body weight", ("kg", "g", "[lb_av]"), "bodyweight"),
    "bmi": Vital("39156-5", "Body mass index (BMI) [Ratio]", ("kg/m2",), "bmi"),
    "body_mass_index": Vital("39156-5", "Body mass index (BMI) [Ratio]", ("kg/m2",), "bmi"),
    "blood_pressure": Vital("85354-9", "Blood pressure panel with all children optional", (), "bp"),
    "systolic_pressure": Vital("85354-9", "Blood pressure panel with all children optional", (), "bp"),
    "diastolic_pressure": Vital("85354-9", "Blood pressure panel with all children optional", (), "bp"),
}
SYSTOLIC = ("8480-6", "Systolic blood pressure")
DIASTOLIC = ("8462-4", "Diastolic blood pressure")


def check_digit(code: str) -> bool:
    """Whether the last digit of a LOINC code agrees with the others (mod 10, Luhn)."""
    body, _, last = code.partition("-")
    if not body.isdigit() or len(last) != 1 or not last.isdigit():
        return False
    odd = "".join(reversed(body))[::2][::-1]
    even = "".join(reversed(body))[1::2][::-1]
    total = sum(int(d) for d in str(int(odd) * 2)) + sum(int(d) for d in even or "0")
    return (10 - total % 10) % 10 == int(last)
