"""Changes of subject: where a list that a cue governs ends because something else is spoken of.

"no murmurs abdomen soft" has no mark between its two statements. A place that is said to be something,
a normal word after a list of abnormal ones, and a measure with its number begin a new statement.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

from lexicon import Lexicon
from parser.layers import Boundary, Finding, Mention, SlotValue
from parser.tokens import Tokens

_COPULA = frozenset("is are was were appears appear looks look remains feels".split())
_JOIN = frozenset("and or nor , / & plus with but".split())
_THERE = frozenset("heard present audible palpable felt visible".split())
_SMALL = frozenset("the a an left right bilateral his her their both".split())
_CUES = frozenset("no not without denies denied negative none absent nor neither never".split())


def find_subjects(
    tokens: Tokens,
    terms: tuple[Mention, ...],
    findings: tuple[Finding, ...],
    values: tuple[SlotValue, ...],
    lexicon: Lexicon,
) -> tuple[Boundary, ...]:
    """Boundaries in addition to those found from words alone, in order."""
    words = tokens.words
    by_mention = {finding.mention: finding for finding in findings if finding.kind not in ("region", "measure")}
    valued = {value.mention for value in values if value.mention is not None}
    cuts: set[int] = set()
    before: Finding | None = None
    for i, mention in enumerate(terms):
        finding = by_mention.get(i)
        gap_start = terms[i - 1].end if i else 0
        if _is_measure(mention) and i in valued:
            cuts.add(mention.start)
        if finding is None:
            if (
                i
                and _speaks_of(words, mention, terms, i, by_mention, lexicon)
                and not _joined(words, gap_start, mention.start)
            ):
                cuts.add(_with_article(words, mention.start, gap_start))
            continue
        if before is not None and (at := _own_number(values, before.end, finding.start)):
            cuts.add(at)
        graded = i in valued and before is not None and not any(w in _CUES for w in words[before.end : finding.start])
        if before is not None and (graded or _turns(before, finding, words, lexicon)):
            first = min(
                [finding.start, *(s.start for s in finding.sites if before.end <= s.start < s.end <= finding.start)]
            )
            cuts.add(_with_article(words, first, before.end))
        before = finding
    return tuple(Boundary(at, "subject") for at in sorted(cuts) if at > 0)


def _own_number(values: tuple[SlotValue, ...], start: int, end: int) -> int:
    """Where a number with a unit begins that leads to a finding ("no air leak, 50 mL bloody output"); 0 for none."""
    at = bisect_left(values, start, key=lambda value: value.start)
    found = values[at] if at < len(values) else None
    return found.start if found is not None and found.end <= end and found.value.unit else 0


def _is_measure(mention: Mention) -> bool:
    return any(term.kind == "measure" for term in mention.terms)


def _speaks_of(
    words: Sequence[str],
    mention: Mention,
    terms: tuple[Mention, ...],
    i: int,
    by_mention: dict[int, Finding],
    lexicon: Lexicon,
) -> bool:
    """Whether the place is the subject of a new statement: "abdomen is", "abdomen no ...", "abdomen soft"."""
    if not any(term.kind == "site" for term in mention.terms):
        return False
    after = words[mention.end] if mention.end < len(words) else ""
    if after in _COPULA or after in _CUES:
        return True
    following = by_mention.get(i + 1)
    return following is not None and following.start == mention.end and _nature(following, lexicon) == "normal"


def _turns(before: Finding, finding: Finding, words: Sequence[str], lexicon: Lexicon) -> bool:
    """A normal word after an abnormal one, or a step after a finding, without a join, begins anew."""
    step = finding.kind == "step" and before.kind != "step"
    gap = words[before.end : finding.start]
    if _told_there(finding, words, lexicon) and not (_JOIN - {","}).intersection(gap) and not _CUES.intersection(gap):
        return True
    if not step and (_nature(finding, lexicon) != "normal" or _nature(before, lexicon) == "normal"):
        return False
    return not any(word in _CUES for word in gap) and not (gap and gap[-1] in _JOIN - {","} and len(gap) == 1)


def _told_there(finding: Finding, words: Sequence[str], lexicon: Lexicon) -> bool:
    """ "bowel sounds heard": what is nothing abnormal, said to be there."""
    concept = lexicon.concepts.get(finding.id)
    if concept is None or finding.absent or concept.nature == "abnormal" or concept.kind == "report":
        return False
    return finding.end < len(words) and words[finding.end] in _THERE


def _nature(finding: Finding, lexicon: Lexicon) -> str:
    concept = lexicon.concepts.get(finding.id)
    if concept is None or finding.absent:
        return "neutral"
    return concept.nature


def _joined(words: Sequence[str], start: int, end: int) -> bool:
    gap = [word for word in words[start:end] if word not in _SMALL]
    return bool(gap) and (gap[-1] in _JOIN or gap[-1] in _CUES or gap[-1] in ("in", "of", "on", "at", "over", "to"))


def _with_article(words: Sequence[str], at: int, least: int) -> int:
    while at > least and words[at - 1] in _SMALL:
        at -= 1
    return at
