"""FHIR documents: structure by fhir.resources, and the R4 rules that it does not check."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from fhir.resources.R4B.bundle import Bundle

from lexicon import load
from parser.note.document import Style
from parser.note.fhir import document_bundle
from parser.note.fhir_checks import faults
from parser.note.fhir_codes import PROFILE, VITALS, check_digit
from tests.parser.note.runs import MOMENT, NAMES, dictated, invented_run, sample

#: HL7 FHIR R4 (4.0.1), vital-signs profile table: LOINC and UCUM of each profile.
TABLE = {
    "resprate": ("9279-1", {"/min"}),
    "heartrate": ("8867-4", {"/min"}),
    "oxygensat": ("2708-6", {"%"}),
    "bodytemp": ("8310-5", {"Cel", "[degF]"}),
    "bodyheight": ("8302-2", {"cm", "[in_i]"}),
    "headcircum": ("9843-4", {"cm", "[in_i]"}),
    "bodyweight": ("29463-7", {"kg", "g", "[lb_av]"}),
    "bmi": ("39156-5", {"kg/m2"}),
    "bp": ("85354-9", set()),
}
SAID = """temperature ninety eight point four fahrenheit oral
heart rate seventy six
respirations sixteen
blood pressure one eighteen over seventy six right arm sitting
oxygen saturation ninety eight percent on room air
height one hundred seventy centimeters
weight sixty eight point five kilograms
head circumference fifty five centimeters
glasgow coma scale fifteen
pain three out of ten
no edema
examination of the breasts deferred"""


def made(record: Any) -> dict[str, Any]:
    return document_bundle(record, load(), Style(moment=MOMENT))


def observations(bundle: dict[str, Any]) -> list[dict[str, Any]]:
    return [e["resource"] for e in bundle["entry"] if e["resource"]["resourceType"] == "Observation"]


def by_text(bundle: dict[str, Any], text: str) -> dict[str, Any]:
    return next(each for each in observations(bundle) if each["code"]["text"] == text)


@pytest.mark.parametrize("name", NAMES)
def test_the_samples_are_valid(name: str) -> None:
    bundle = made(sample(name))
    Bundle.model_validate(bundle)
    assert faults(bundle) == []
    assert {each["status"] for each in observations(bundle)} == {"preliminary"}


@pytest.mark.parametrize("number", range(4))
def test_invented_runs_are_valid(number: int) -> None:
    bundle = made(invented_run(number))
    Bundle.model_validate(bundle)
    assert faults(bundle) == []


def test_every_profile_of_the_table_is_mapped() -> None:
    ours = {vital.profile: (vital.loinc, set(vital.units)) for vital in VITALS.values()}
    assert ours == TABLE


def test_what_was_said_is_coded_by_the_profiles() -> None:
    bundle = made(dictated(SAID))
    profiles = {
        p.removeprefix(PROFILE) for each in observations(bundle) for p in each.get("meta", {}).get("profile", ())
    }
    assert profiles == {"vitalsigns", *TABLE}
    pressure = by_text(bundle, "blood pressure")
    assert [(p["code"]["coding"][0]["code"], p["valueQuantity"]["value"]) for p in pressure["component"]] == [
        ("8480-6", 118),
        ("8462-4", 76),
    ]
    assert "valueQuantity" not in pressure
    temperature = by_text(bundle, "temperature")["valueQuantity"]
    assert (temperature["value"], temperature["code"]) == (98.4, "[degF]")


def test_findings_say_in_words_whether_they_are_there() -> None:
    bundle = made(dictated(SAID))
    edema = by_text(bundle, "edema")
    assert edema["valueCodeableConcept"]["text"] == "absent"
    assert edema["interpretation"][0]["coding"][0]["code"] == "NEG"


def test_a_computed_value_points_to_what_it_came_from() -> None:
    bundle = made(dictated(SAID))
    index = by_text(bundle, "Body mass index")
    assert len(index["derivedFrom"]) == 2
    assert index["code"]["coding"][0]["code"] == "39156-5"


def test_a_unit_outside_the_profile_is_converted() -> None:
    quantity = by_text(made(dictated("weight eleven stone four")), "weight")["valueQuantity"]
    assert quantity["code"] in TABLE["bodyweight"][1]
    assert quantity["value"] == pytest.approx({"kg": 71.668, "g": 71668, "[lb_av]": 158}[quantity["code"]], rel=1e-3)


def test_the_person_is_marked_as_no_real_one() -> None:
    person = next(e["resource"] for e in made(sample("hurried"))["entry"] if e["resource"]["resourceType"] == "Patient")
    assert person["meta"]["tag"][0]["code"] == "HTEST"


def test_a_station_without_words_says_so() -> None:
    sections = made(sample("hurried"))["entry"][0]["resource"]["section"]
    ears = next(s for s in sections if s["title"] == "Ears")
    assert "entry" not in ears
    assert "Not documented" in ears["text"]["div"]


def test_without_a_moment_there_is_no_document() -> None:
    with pytest.raises(ValueError, match="moment of writing"):
        document_bundle(dictated("skin warm"), load(), Style())


def _break(name: str, bundle: dict[str, Any]) -> None:
    first = observations(bundle)[0]
    if name == "reference":
        first["subject"]["reference"] = "urn:uuid:0"
    elif name == "order":
        bundle["entry"].reverse()
    elif name == "unit":
        by_text(bundle, "heart rate")["valueQuantity"]["code"] = "bpm"
    elif name == "digit":
        by_text(bundle, "heart rate")["code"]["coding"].append({"system": "http://loinc.org", "code": "8867-5"})
    elif name == "script":
        bundle["entry"][0]["resource"]["text"]["div"] = "<div><script>x</script></div>"
    elif name == "both":
        first["valueString"], first["dataAbsentReason"] = "x", {"text": "y"}
    elif name == "address":
        bundle["entry"].append(copy.deepcopy(bundle["entry"][-1]))
    elif name == "time":
        bundle["timestamp"] = "2026"
    else:
        by_text(bundle, "blood pressure")["component"].pop()


@pytest.mark.parametrize(
    "name", ["reference", "order", "unit", "digit", "script", "both", "address", "time", "component"]
)
def test_each_check_finds_its_fault(name: str) -> None:
    bundle = made(dictated(SAID))
    assert faults(bundle) == []
    _break(name, bundle)
    assert faults(bundle)


@pytest.mark.parametrize(
    ("code", "good"),
    [
        ("8480-6", True),
        ("8462-4", True),
        ("85354-9", True),
        ("34746-8", True),
        ("8480-5", False),
        ("x-1", False),
        ("8480", False),
    ],
)
def test_check_digits(code: str, good: bool) -> None:
    """LOINC Users' Guide, appendix on the mod-10 check digit; codes of the R4 profiles."""
    assert check_digit(code) is good


@pytest.mark.parametrize("wording", ["exception", "handoff"])
def test_another_wording_is_a_section_of_its_own_beside_the_stations(wording: str) -> None:
    bundle = document_bundle(sample("complete"), load(), Style(wording=wording, moment=MOMENT))
    assert faults(bundle) == []
    sections = bundle["entry"][0]["resource"]["section"]
    assert [s for s in sections if "entry" in s and "Not documented" in s["text"]["div"]] == []
    assert any(s["title"].startswith(("Note by exception", "Handoff")) for s in sections)
