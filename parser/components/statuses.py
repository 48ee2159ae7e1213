"""Statuses: the boundaries of an utterance, and what each finding's words say of it within them.

Boundaries come from the words (:mod:`parser.components.boundaries`), are settled by the lexicon
(:mod:`parser.components.lists`), and changes of subject are added (:mod:`parser.components.subjects`).
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from itertools import pairwise

from lexicon import Lexicon
from parser.components.assertion import assert_status
from parser.components.boundaries import find_boundaries
from parser.components.layer import register
from parser.components.lists import DOUBTFUL, settled
from parser.components.subjects import find_subjects
from parser.layers import Assertion, Boundary, Finding, Mention, SlotValue
from parser.tokens import Tokens

_SAID = Assertion("present")
#: Nothing is stated of a finding that only tells a place.
_PLACE = Assertion("hypothetical")
_CIRCUMSTANCE = frozenset("around at from under with during near beneath".split())
_WHERE = frozenset("around at from under on with near in over of to along beneath".split())


def compute_assertions(
    tokens: Tokens,
    terms: tuple[Mention, ...],
    findings: tuple[Finding, ...],
    values: tuple[SlotValue, ...],
    boundaries: tuple[Boundary, ...],
    lexicon: Lexicon,
) -> tuple[Assertion, ...]:
    """Statuses of the findings, with changes of subject as boundaries beside those of the words."""
    if not findings:
        return ()
    more = find_subjects(tokens, terms, findings, values, lexicon)
    every = sorted({b.at: b for b in (*more, *boundaries) if b.reason != DOUBTFUL}.values(), key=lambda b: b.at)
    named = [f for f in findings if f.kind in ("region", "measure")]
    told = [f for f in findings if f.kind not in ("region", "measure")]
    given = dict(
        zip(map(id, told), assert_status(tokens, [(f.start, f.end) for f in told], every, lexicon), strict=True)
    )
    if named and not _left_out(lexicon).isdisjoint(tokens.words):
        given.update(
            zip(map(id, named), assert_status(tokens, [(f.start, f.end) for f in named], every, lexicon), strict=True)
        )
    given.update((id(f), _PLACE) for f in _places(tokens, told, given, lexicon))
    return tuple(given.get(id(f), _SAID) for f in findings)


def _places(tokens: Tokens, told: list[Finding], given: dict[int, Assertion], lexicon: Lexicon) -> Iterator[Finding]:
    """Devices, steps and bare names after a preposition behind a negated finding only tell where: "no redness
    around the incision" says nothing of the incision."""
    for before, finding in pairwise(told):
        concept = lexicon.concepts.get(finding.id)
        bare = finding.kind in ("device", "step") or (
            concept is not None and concept.nature == "neutral" and not finding.absent
        )
        gap = tokens.words[before.end : finding.start]
        same = given[id(finding)].cue is not None and given[id(finding)].cue == given[id(before)].cue
        bare = bare or (bool(gap) and gap[0] in _CIRCUMSTANCE)
        if (
            bare
            and same
            and given[id(before)].status == "absent"
            and len(gap) <= 4
            and any(word in _WHERE for word in gap)
        ):
            yield finding


@lru_cache(maxsize=4)
def _left_out(lexicon: Lexicon) -> frozenset[str]:
    """Words with which it is said that something was not assessed."""
    cues = getattr(lexicon.files.get("cues"), "cues", ())
    return frozenset(
        form.split()[0] for cue in cues if getattr(cue, "status", None) == "not_assessed" for form in cue.forms
    )


def compute_boundaries(tokens: Tokens, terms: tuple[Mention, ...], lexicon: Lexicon) -> tuple[Boundary, ...]:
    """Boundaries of an utterance whose terms are known; lists are not cut, see :mod:`parser.components.lists`."""
    found = find_boundaries(tokens, [(mention.start, mention.end, mention.terms[0].kind) for mention in terms], lexicon)
    return settled(tokens, terms, found, lexicon)


create_boundaries = register("boundaries", compute_boundaries, ("terms",))
create_assertions = register("assertions", compute_assertions, ("terms", "findings", "values", "boundaries"))
