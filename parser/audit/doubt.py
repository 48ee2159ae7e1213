"""Doubt: what rests on words that were heard weakly asks for confirmation before it tells a wrong.

Only hearing counts here: words that the recogniser doubts or was hardly sure of, and words that were read otherwise
than they were heard. Such a remark gets the rule name ``confirm.<rule>``, keeps all it said, and says what to confirm
first.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from parser.audit.inspection import RANK, Inspection, listed, quoted
from parser.lookup import Found
from parser.record import RecordWord, Remark

#: A word heard with less confidence than this may be another.
WEAK = 0.6
_SHORTEST = 3
_READ = 'heard "'
_MOST_NAMED = 2
#: Families that a single weak entry overturns; others only when all they rest on is weak.
_ANY = ("contradiction", "implausible", "unit", "order", "timing", "range")
#: Families that keep their severity while they ask: what matters if it is so is not put last.
_GRAVE = ("caution",)
_NEVER = ("missing", "confirm")
PREFIX = "confirm."


def plain(rule: str) -> str:
    """The name of a rule, whether its remark asks or tells."""
    return rule.removeprefix(PREFIX)


def family(rule: str) -> str:
    """The family of a rule, whether its remark asks or tells."""
    return plain(rule).partition(".")[0]


def is_weak(word: RecordWord, limit: float = WEAK, shortest: int = _SHORTEST) -> bool:
    """Whether a word was heard with so little confidence that it may be another; not asked of shorter words.

    A word put together of pieces that mean nothing else ("brew ease") is sure, however weak its pieces are.
    """
    return (
        word.confidence is not None and word.confidence < limit
        and len(word.text) >= shortest and word.heard == word.text
    )


def weakly_heard(words: Iterable[RecordWord]) -> str | None:
    """Why words may have been heard wrongly, or None."""
    doubts = (word.doubt or f"'{word.text}' was not heard clearly" for word in words if word.doubt or is_weak(word))
    return next(doubts, None)


def doubt_of(inspection: Inspection, found: Found) -> str | None:
    """Why an entry may rest on a mishearing; None when it does not, or when it was confirmed."""
    entry = found.entry
    if entry.id in inspection.confirmed:
        return None
    first, last = entry.evidence.words
    read = next((doubt for doubt in (entry.confirm or "").split("; ") if doubt.startswith(_READ)), None)
    return read or weakly_heard(inspection.record.words[first : last + 1])


def asking(inspection: Inspection, remark: Remark) -> Remark:
    """The remark, or the same one asking for confirmation first where it rests on weakly heard words."""
    kind = family(remark.rule)
    if kind in _NEVER or not remark.entries:
        return remark
    found = _rests_on(inspection, remark)
    weak = [(hit, doubt) for hit in found if (doubt := doubt_of(inspection, hit))]
    if not weak or (kind not in _ANY and len(weak) < len(found)):
        return remark
    doubts = dict.fromkeys(f"{quoted(hit)}, {doubt}" for hit, doubt in weak[:_MOST_NAMED])
    severity = remark.severity if kind in _GRAVE else "note"
    weight = remark.weight / RANK[remark.severity] * RANK[severity]
    return remark.model_copy(update={
        "rule": PREFIX + remark.rule,
        "severity": severity,
        "weight": round(weight, 3),
        "message": f"Confirm first: {listed(tuple(doubts))}. If it is so: {remark.message}",
    })


def _rests_on(inspection: Inspection, remark: Remark) -> Sequence[Found]:
    """The entries of a remark; of a station taken out of order, all that was said there with the first entry."""
    found = [inspection.by_id[name] for name in remark.entries if name in inspection.by_id]
    if remark.rule == "order.stations" and found:
        strong = [hit for hit in inspection.lookup.by_region[found[0].region] if not doubt_of(inspection, hit)]
        return [] if strong else found
    return found


def asked(remarks: Iterable[Remark]) -> frozenset[str]:
    """The entries that remarks ask about."""
    return frozenset(name for remark in remarks if remark.rule.startswith(PREFIX) for name in remark.entries)
