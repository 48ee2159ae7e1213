"""The words of the later stations: unambiguous, broad, and complete against published lists.

The lists are not ours; each names its source. What is checked is that the trade's own terms, as these
sources print them, are found in the lexicon and mean what the source means by them.
"""

from __future__ import annotations

from collections import defaultdict

import pytest

from lexicon import Lexicon, load
from parser.terms import term_index
from parser.tokens import tokenise, words_of

STATIONS = ("genitourinary", "lower_extremities", "musculoskeletal", "neurological", "back_sacrum_lines", "closing")
NEGATIONS = frozenset(("no", "not", "without", "denies", "deny", "denied"))

#: Glasgow coma scale, terms of Teasdale et al., Lancet Neurol 2014;13:844-854, and the older wording.
COMA_RESPONSES = {
    "eyes open spontaneously": "eyes_open_spontaneously",
    "eye opening to sound": "eyes_open_to_sound",
    "eye opening to pressure": "eyes_open_to_pressure",
    "eye opening none": "eyes_do_not_open",
    "confused conversation": "confused_conversation",
    "inappropriate words": "inappropriate_words",
    "incomprehensible sounds": "incomprehensible_sounds",
    "obeys commands": "follows_commands",
    "localises to pain": "localizes_pain",
    "normal flexion": "withdraws_from_pain",
    "abnormal flexion": "abnormal_flexion",
    "decorticate posturing": "abnormal_flexion",
    "extension to pain": "abnormal_extension",
    "decerebrate posturing": "abnormal_extension",
}

#: Steps before leaving the bed: Open RN, Nursing Skills, checklists of the general survey and head-to-toe chapters.
CLOSING_STEPS = {
    "call light within reach": "call_light_in_reach",
    "call bell within reach": "call_light_in_reach",
    "bed in lowest position": "bed_low",
    "bed low and locked": "bed_low",
    "brakes on": "bed_locked",
    "side rails up": "side_rails_up",
    "bedside table within reach": "table_in_reach",
    "room free of clutter": "room_safe",
    "hand hygiene on exit": "hand_hygiene_after",
    "position of comfort": "comfort_position",
    "findings reported to the charge nurse": "findings_reported",
}

#: NPIAP 2016 (Edsberg et al., J Wound Ostomy Continence Nurs 43:585): names of the injuries and of what is seen.
PRESSURE_INJURY_TERMS = {
    "stage 1 pressure injury": "pressure_injury",
    "stage 4 pressure injury": "pressure_injury",
    "unstageable pressure injury": "pressure_injury_unstageable",
    "deep tissue pressure injury": "deep_tissue_injury",
    "mucosal membrane pressure injury": "mucosal_pressure_injury",
    "exposed dermis": "partial_thickness_loss",
    "exposed bone": "full_thickness_loss",
    "exposed tendon": "full_thickness_loss",
    "undermining": "undermining",
    "tunneling": "tunneling",
    "epibole": "wound_edges_rolled",
    "non blanchable erythema": "nonblanching_erythema",
    "slough": "slough",
}

#: Warning signs of the American Stroke Association (BE-FAST) and the Cincinnati scale (Kothari 1999).
STROKE_SIGNS = {
    "facial droop": "facial_droop",
    "arm drift": "drift",
    "slurred speech": "speech_slurred",
    "left sided weakness": "hemiparesis",
}

#: The six Ps of limb ischemia: common practice.
SIX_PS = {
    "pain": "pain",
    "pallor": "pale",
    "pulselessness": "pulse",
    "paresthesia": "tingling",
    "paralysis": "paralysis",
    "poikilothermia": "limb_ischemia",
}

#: Leg arteries that a pulse is taken at: Clinical Methods, 3rd ed., ch. 30 (extremities).
LEG_ARTERIES = {
    "femoral": "femoral_artery",
    "popliteal": "popliteal_artery",
    "posterior tibial": "posterior_tibial_artery",
    "dorsalis pedis": "dorsalis_pedis_artery",
}

#: Places that take weight in bed or chair: common practice in pressure-injury checks.
PRESSURE_POINTS = {"occiput": "occiput", "scapula": "scapula", "elbow": "elbow", "sacrum": "sacrum", "coccyx": "coccyx",
                   "ischial tuberosity": "ischium", "greater trochanter": "greater_trochanter", "heel": "heel",
                   "lateral malleolus": "lateral_malleolus", "medial malleolus": "medial_malleolus"}

CONCEPTS = [
    *COMA_RESPONSES.items(),
    *CLOSING_STEPS.items(),
    *PRESSURE_INJURY_TERMS.items(),
    *STROKE_SIGNS.items(),
    *SIX_PS.items(),
]
SITES = [*LEG_ARTERIES.items(), *PRESSURE_POINTS.items()]


@pytest.fixture(scope="module")
def lexicon() -> Lexicon:
    return load()


def found(lexicon: Lexicon, text: str) -> set[tuple[str, str]]:
    """Kind and id of every term that the longest forms at each place of the text can mean."""
    return {(term.kind, term.id) for _, _, terms in term_index(lexicon).find(tokenise(text).words) for term in terms}


@pytest.mark.parametrize(("said", "concept"), CONCEPTS)
def test_published_terms_are_known(lexicon: Lexicon, said: str, concept: str) -> None:
    assert ("concept", concept) in found(lexicon, said)


@pytest.mark.parametrize(("said", "site"), SITES)
def test_published_places_are_known(lexicon: Lexicon, said: str, site: str) -> None:
    assert ("site", site) in found(lexicon, said)


@pytest.mark.parametrize("number", range(1, 13))
def test_every_cranial_nerve_is_known_by_number_and_numeral(lexicon: Lexicon, number: int) -> None:
    """The twelve cranial nerves (anatomical nomenclature), said in words, figures and Roman numerals."""
    words = ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"]
    numerals = ["i", "ii", "iii", "iv", "v", "vi", "vii", "viii", "ix", "x", "xi", "xii"]
    for said in (words[number - 1], str(number), numerals[number - 1]):
        assert ("site", f"cranial_nerve_{number}") in found(lexicon, f"cranial nerve {said}")


@pytest.mark.parametrize("station", STATIONS)
def test_no_two_concepts_of_a_station_share_a_form(lexicon: Lexicon, station: str) -> None:
    meant: dict[tuple[str, ...], set[str]] = defaultdict(set)
    for concept in lexicon.concepts.values():
        if lexicon.home[concept.id] == station:
            for form in (*concept.forms, *concept.absent_forms):
                meant[words_of(form)].add(concept.id)
    assert {" ".join(form): ids for form, ids in meant.items() if len(ids) > 1} == {}


@pytest.mark.parametrize("station", STATIONS)
def test_forms_leave_negation_to_understanding(lexicon: Lexicon, station: str) -> None:
    forms = [(c.id, form) for c in lexicon.concepts.values() if lexicon.home[c.id] == station for form in c.forms]
    assert [pair for pair in forms if pair[1].split()[0] in NEGATIONS] == []


@pytest.mark.parametrize("station", STATIONS)
def test_every_concept_has_an_example_with_its_own_words(lexicon: Lexicon, station: str) -> None:
    faults = [
        (concept.id, example)
        for concept in lexicon.concepts.values()
        if lexicon.home[concept.id] == station
        for example in concept.examples or ("",)
        if ("concept", concept.id) not in found(lexicon, example.partition(" = ")[0])
    ]
    assert faults == []


def test_breadth(lexicon: Lexicon) -> None:
    """Breadth the later stations must not fall below."""
    concepts = [c for c in lexicon.concepts.values() if lexicon.home[c.id] in STATIONS]
    forms = sum(len(c.forms) + len(c.absent_forms) for c in concepts)
    sites = [s for s in lexicon.sites if lexicon.home[s] in STATIONS]
    assert (len(concepts) >= 420, forms >= 2300, len(sites) >= 110) == (True, True, True)
