"""What belongs to another finding: words before its name ("mobile, firm lymph node") and readings after it
("spider angiomas consistent with liver disease"). They become its qualifiers, no findings of their own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

from lexicon import ANY, Lexicon
from lexicon.schema.cues import CuesFile
from parser.layers import Finding, Mention
from parser.terms import FormIndex

_JOIN = frozenset((",", "and", "very", "/"))
_COPULA = frozenset("is are was were appears looks remains feels".split())
_ARTICLES = frozenset("a an the his her their some known prior previous".split())
#: A reading stands no further than this many words behind its finding.
READING = 8
#: The station of what was before the examination.
HISTORY = "history"


@lru_cache(maxsize=4)
def _readings(lexicon: Lexicon) -> tuple[FormIndex[bool], frozenset[str]]:
    """Words that lead to a reading, and their last words; True where they lead only to what belongs to the history."""
    file = lexicon.files.get("cues") or CuesFile()
    assert isinstance(file, CuesFile)
    forms = [*((form, False) for form in file.readings), *((form, True) for form in file.reasons)]
    return FormIndex(forms), frozenset(form.split()[-1] for form, _ in forms)


def folded(
    words: Sequence[str], terms: Sequence[Mention], findings: Sequence[Finding], lexicon: Lexicon
) -> tuple[Finding, ...]:
    """The findings in order, each with its attributes; those that are only attributes are left out."""
    places = {mention.end for mention in terms if any(term.kind == "site" for term in mention.terms)}
    out: list[Finding] = []
    for finding in findings:
        read = _read_from(words, out[-1], finding, lexicon) if out else None
        if read is not None:
            out[-1] = replace(out[-1], attributes=(*out[-1].attributes, (read, finding.end)))
            continue
        concept = lexicon.concepts.get(finding.id)
        out.append(_with_attributes(words, places, out, finding, lexicon) if concept and concept.thing else finding)
    return tuple(out)


def _with_attributes(
    words: Sequence[str], places: set[int], out: list[Finding], thing: Finding, lexicon: Lexicon
) -> Finding:
    """``thing`` with the attributes said right before it, which are taken out of ``out``."""
    at, taken, first = thing.start, [], True
    for i in range(len(out) - 1, -1, -1):
        before = out[i]
        gap = words[before.end : at]
        if before.clause != thing.clause or len(gap) > 2 or not _JOIN.issuperset(gap) or (first and gap):
            break
        concept = lexicon.concepts.get(before.id)
        if concept is None or lexicon.home[before.id] != ANY:
            break
        if concept.attribute and not before.absent:
            taken.append(i)
        at, first = before.start, False
    if not taken:
        return thing
    start = out[taken[-1]].start
    if start in places or (start and words[start - 1] in _COPULA):
        return thing  # said of the place before them: "tongue white", "stool is brown"
    spans = tuple((out[i].start, out[i].end) for i in reversed(taken))
    for i in taken:
        del out[i]
    return replace(thing, attributes=spans)


def _read_from(words: Sequence[str], before: Finding, finding: Finding, lexicon: Lexicon) -> int | None:
    """Where the words begin that make ``finding`` a reading of the one before; None when it is none."""
    if before.clause != finding.clause or finding.kind not in ("finding", "report") or before.kind == "step":
        return None
    end = min([finding.start, *(s.start for s in finding.sites if s.end == finding.start and s.start < s.end)])
    while end > before.end and words[end - 1] in _ARTICLES:
        end -= 1
    gap = words[before.end : end]
    index, lasts = _readings(lexicon)
    if not 0 < len(gap) <= READING or gap[-1] not in lasts:
        return None
    for start, stop, kinds in index.find(gap):
        if stop == len(gap) and (False in kinds or lexicon.home.get(finding.id) == HISTORY):
            return before.end + start
    return None
