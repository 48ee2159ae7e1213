"""The words of the arms, chest, heart, breasts and abdomen: unambiguous, broad, and complete against published lists.

The lists are not ours; each names its source. What is checked is that the trade's own terms, as these
sources print them, are found in the lexicon and mean what the source means by them.
"""

from __future__ import annotations

from collections import defaultdict

import pytest

from lexicon import Lexicon, load
from parser.terms import term_index
from parser.tokens import tokenise, words_of
from tests.shared import SHARED, lines_of, needs_shared

STATIONS = ("upper_extremities", "posterior_chest", "anterior_chest", "heart", "breasts_axillae", "abdomen")
NEGATIONS = frozenset(("no", "not", "without", "denies", "deny", "denied", "negative"))
STATUSES = frozenset(("present", "absent", "normal", "uncertain", "not_assessed", "history", "family"))
SIDES = frozenset(("left", "right", "both", "midline"))

#: Lung sounds: nomenclature of the ERS task force, Pasterkamp et al., Eur Respir J 2016;47:724-732 (from memory).
LUNG_SOUNDS = {
    "fine crackles": "fine_crackles",
    "coarse crackles": "coarse_crackles",
    "wheeze": "wheeze",
    "rhonchus": "rhonchi",
    "stridor": "stridor",
    "pleural friction rub": "pleural_rub",
    "bronchial breathing": "bronchial_sounds",
    "vesicular": "vesicular_sounds",
}

#: Patterns of breathing: a nursing handbook's table of respiration, and Bates, abnormalities in rate and rhythm.
BREATHING = {
    "eupnea": "eupnea",
    "tachypnoea": "tachypnea",
    "bradypnea": "bradypnea",
    "apnea": "apnea",
    "hyperventilation": "hyperventilation",
    "kussmaul's respirations": "deep_breathing_pattern",
    "cheyne stokes respirations": "cheyne_stokes",
    "biot's breathing": "agonal_breathing",
    "orthopnoea": "orthopnea",
    "nasal flaring": "nasal_flaring",
    "pursed lips": "pursed_lip_breathing",
    "use of accessory muscles": "accessory_muscle_use",
}

#: Oxygen delivery systems: Hinkle and Cheever, Medical-Surgical Nursing, 15th ed. 2022, table of systems.
OXYGEN = {
    "room air": "room_air",
    "nasal cannula": "nasal_cannula",
    "simple mask": "simple_mask",
    "partial rebreathing mask": "partial_rebreather",
    "nonrebreathing mask": "non_rebreather",
    "venturi mask": "venturi_mask",
    "tracheostomy collar": "trach_collar",
    "high flow nasal cannula": "high_flow_nasal_cannula",
    "c pap": "cpap",
    "bi pap": "bipap",
}

#: Abdomen: expected and unexpected findings, OpenStax, Nutrition for Nurses (CC BY 4.0), abdominal assessment.
ABDOMEN = {
    "scaphoid": "scaphoid",
    "protuberant": "protuberant",
    "distended": "distension",
    "guarding": "guarding",
    "rebound tenderness": "rebound",
    "board like": "rigid_abdomen",
    "tympany": "tympany",
    "peristalsis": "visible_peristalsis",
    "hypoactive bowel sounds": "bowel_sounds_hypoactive",
    "hyperactive bowel sounds": "bowel_sounds_hyperactive",
    "borborygmi": "borborygmi",
    "light palpation": "palpate_light",
    "deep palpation": "palpate_deep",
}

#: Heart sounds and murmurs: common practice of cardiac auscultation; the pulse words of Swartz, Physical Diagnosis.
HEART = {
    "s 1 and s 2": "s1_s2",
    "third heart sound": "s3",
    "s four": "s4",
    "holosystolic murmur": "holosystolic_murmur",
    "diastolic rumble": "diastolic_murmur",
    "opening snap": "heart_click",
    "pericardial friction rub": "pericardial_rub",
    "point of maximal impulse": "apical_impulse",
    "pulse deficit": "pulse_deficit",
    "pulsus paradoxus": "pulsus_paradoxus",
    "irregularly irregular": "irregularly_irregular",
}

#: Signs that carry a physician's name: common practice of examination.
EPONYMS = {
    "murphy's sign": "murphy_sign",
    "rovsing's sign": "rovsing_sign",
    "psoas sign": "psoas_sign",
    "obturator sign": "obturator_sign",
    "heberden's nodes": "finger_nodes",
    "bouchard's nodes": "finger_nodes",
    "dupuytren's contracture": "dupuytren_contracture",
    "phalen's test": "phalen_test",
    "tinel's sign": "tinel_sign",
    "allen test": "allen_test",
}

#: Valve areas from base to apex, quadrants, lobes and arteries: anatomical terms, common practice.
SITES = {
    "aortic area": "aortic_area",
    "pulmonic area": "pulmonic_area",
    "erb's point": "erbs_point",
    "tricuspid area": "tricuspid_area",
    "mitral area": "mitral_area",
    "fifth intercostal space": "fifth_interspace",
    "midclavicular line": "midclavicular_line",
    "right upper quadrant": "right_upper_quadrant",
    "l l q": "left_lower_quadrant",
    "epigastrium": "epigastrium",
    "mcburney's point": "mcburney_point",
    "upper lobe": "lung_upper_lobe",
    "middle lobe": "lung_middle_lobe",
    "lower lobe": "lung_lower_lobe",
    "upper outer quadrant": "upper_outer_quadrant",
    "tail of spence": "tail_of_breast",
    "radial": "radial_artery",
    "brachial": "brachial_artery",
    "ulnar": "ulnar_artery",
    "antecubital fossa": "antecubital_fossa",
    "metacarpophalangeal joints": "mcp_joints",
}

CONCEPTS = [pair for table in (LUNG_SOUNDS, BREATHING, OXYGEN, ABDOMEN, HEART, EPONYMS) for pair in table.items()]

#: The data set's names of these stations.
TEACHING_REGIONS = ("cardiovascular", "respiratory", "abdomen")
VAGUE = ("within normal", "within defined", "inspection", "auscultation", "percussion", "palpation")


@pytest.fixture(scope="module")
def lexicon() -> Lexicon:
    return load()


def found(lexicon: Lexicon, text: str) -> set[tuple[str, str]]:
    """Kind and id of every term that the longest forms at each place of the text can mean."""
    return {(term.kind, term.id) for _, _, terms in term_index(lexicon).find(tokenise(text).words) for term in terms}


@pytest.mark.parametrize(("said", "concept"), CONCEPTS)
def test_published_terms_are_known(lexicon: Lexicon, said: str, concept: str) -> None:
    assert ("concept", concept) in found(lexicon, said)


@pytest.mark.parametrize(("said", "site"), SITES.items())
def test_places_are_known(lexicon: Lexicon, said: str, site: str) -> None:
    assert ("site", site) in found(lexicon, said)


@pytest.mark.parametrize(("word", "concept"), [("nondistended", "distension"), ("unlabored", "labored_breathing"),
                                               ("nonlaboured", "labored_breathing"), ("pulseless", "pulse")])
def test_negative_words_deny_their_finding(lexicon: Lexicon, word: str, concept: str) -> None:
    terms = [term for _, _, terms in term_index(lexicon).find(words_of(word)) for term in terms]
    assert [(term.id, term.absent) for term in terms] == [(concept, True)]


def test_no_two_concepts_share_a_form_where_both_may_be_said(lexicon: Lexicon) -> None:
    """Own words against one another and against the shared words, station by station."""
    meant: dict[tuple[str, tuple[str, ...]], set[str]] = defaultdict(set)
    for concept in lexicon.concepts.values():
        if lexicon.home[concept.id] in STATIONS:
            for station in {lexicon.home[concept.id], *concept.also} & {*STATIONS, "any"}:
                for form in (*concept.forms, *concept.absent_forms):
                    meant[station, words_of(form)].add(concept.id)
    assert {key: ids for key, ids in meant.items() if len(ids) > 1} == {}


@pytest.mark.parametrize("station", STATIONS)
def test_forms_leave_negation_to_understanding(lexicon: Lexicon, station: str) -> None:
    forms = [(c.id, form) for c in lexicon.concepts.values() if lexicon.home[c.id] == station for form in c.forms]
    assert [pair for pair in forms if pair[1].split()[0] in NEGATIONS] == []


@pytest.mark.parametrize("station", STATIONS)
def test_each_example_names_its_concept_and_place(lexicon: Lexicon, station: str) -> None:
    """Reading the example with all words of all stations, the longest form at each place is the concept's own."""
    faults = []
    for concept in (c for c in lexicon.concepts.values() if lexicon.home[c.id] == station):
        assert concept.examples, f"{concept.id} has no example"
        for example in concept.examples:
            sentence, _, expected = example.partition(" = ")
            status, site, side, *_ = [part.strip() for part in expected.split(",")] + [""] * 3
            seen = found(lexicon, sentence)
            fits = ("concept", concept.id) in seen and status in STATUSES and (not side or side in SIDES)
            if not fits or (site and site != concept.site and ("site", site) not in seen):
                faults.append((concept.id, example))
    assert faults == []


@pytest.mark.parametrize("station", STATIONS)
def test_paired_places_are_marked(lexicon: Lexicon, station: str) -> None:
    """A concept told apart by sides is not tied to a place that has none."""
    own = [c for c in lexicon.concepts.values() if lexicon.home[c.id] == station and c.paired]
    assert [c.id for c in own if c.site is not None and not lexicon.sites[c.site].paired] == []


@needs_shared
def test_teaching_cases_are_covered(lexicon: Lexicon) -> None:
    """Heart, lung and abdomen lines of OpenStax nursing cases (CC BY 4.0): each names a finding that we know."""
    assert SHARED is not None
    lines = lines_of(SHARED / "data/text/openstax_exam.jsonl")
    texts = [line["text"] for line in lines if line["region"] in TEACHING_REGIONS]
    telling = [text for text in texts if not text.lower().startswith(VAGUE)]
    unknown = [text for text in telling if not any(kind == "concept" for kind, _ in found(lexicon, text))]
    assert len(telling) > 60
    assert unknown == []


def test_breadth(lexicon: Lexicon) -> None:
    """Breadth these stations must not fall below."""
    concepts = [c for c in lexicon.concepts.values() if lexicon.home[c.id] in STATIONS]
    forms = sum(len(c.forms) + len(c.absent_forms) for c in concepts)
    sites = [s for s in lexicon.sites if lexicon.home[s] in STATIONS]
    assert (len(concepts) >= 370, forms >= 1800, len(sites) >= 150) == (True, True, True)
