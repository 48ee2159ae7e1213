"""What the debrief shows first: remarks by weight, and nothing told twice."""

from __future__ import annotations

from collections.abc import Iterable

from parser.audit.doubt import family
from parser.record import Remark

#: Families whose remark on an entry makes a mere range remark on the same entry needless.
_STRONGER = ("caution", "implausible", "unit")


def ranked(remarks: Iterable[Remark]) -> tuple[Remark, ...]:
    """Heaviest first; equal weights in the order in which things were said."""
    found = tuple(remarks)
    covered = {entry for remark in found if family(remark.rule) in _STRONGER for entry in remark.entries}
    kept = [remark for remark in found if not _needless(remark, covered)]
    return tuple(sorted(kept, key=lambda remark: (-remark.weight, _place(remark), remark.rule)))


def _needless(remark: Remark, covered: set[str]) -> bool:
    return (
        family(remark.rule) == "range"
        and not remark.rule.endswith("range.news2")
        and bool(remark.entries)
        and covered.issuperset(remark.entries)
    )


def _place(remark: Remark) -> int:
    return remark.evidence[0].words[0] if remark.evidence else -1
