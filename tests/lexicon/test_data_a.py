"""The words of the first stations: unambiguous within a station, and found again in their own examples."""

from __future__ import annotations

from collections import defaultdict

import pytest

from lexicon import ANY, Lexicon, load
from parser.terms import term_index
from parser.tokens import tokenise, words_of

STATIONS = (ANY, "preparation", "history", "general_survey", "skin_hair_nails", "head_face", "eyes", "ears",
            "nose_sinuses", "mouth_throat", "neck")
NEGATIONS = frozenset(("no", "not", "without", "denies", "deny", "denied", "negative"))
STATUSES = frozenset(("present", "absent", "normal", "uncertain", "not_assessed", "history", "family"))
SIDES = frozenset(("left", "right", "both", "midline"))


@pytest.fixture(scope="module")
def lexicon() -> Lexicon:
    return load()


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
def test_each_example_names_its_concept_and_place(lexicon: Lexicon, station: str) -> None:
    """Reading the example with all words of all stations, the longest form at each place is the concept's own."""
    index = term_index(lexicon)
    faults = []
    for concept in (c for c in lexicon.concepts.values() if lexicon.home[c.id] == station):
        assert concept.examples, f"{concept.id} has no example"
        for example in concept.examples:
            sentence, _, expected = example.partition(" = ")
            status, site, side, *_ = [part.strip() for part in expected.split(",")] + [""] * 3
            found = {(t.kind, t.id) for _, _, terms in index.find(tokenise(sentence).words) for t in terms}
            fits = ("concept", concept.id) in found and status in STATUSES and (not side or side in SIDES)
            if not fits or (site and site != concept.site and ("site", site) not in found):
                faults.append((concept.id, example))
    assert faults == []


def test_breadth(lexicon: Lexicon) -> None:
    """Breadth the first stations must not fall below."""
    concepts = [c for c in lexicon.concepts.values() if lexicon.home[c.id] in STATIONS]
    forms = sum(len(c.forms) + len(c.absent_forms) for c in concepts)
    sites = [s for s in lexicon.sites if lexicon.home[s] in STATIONS]
    assert (len(concepts) >= 380, forms >= 2300, len(sites) >= 130) == (True, True, True)
