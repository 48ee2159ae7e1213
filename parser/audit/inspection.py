"""What a family of rules is given, and how it words a remark."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

from lexicon import Lexicon
from lexicon.schema.base import Entry as LexiconEntry
from lexicon.schema.matching import Rule
from parser.audit.checklists import Wanted
from parser.citing import cite
from parser.lookup import Found, Lookup
from parser.record import Computed, Record, Remark, Severity
from parser.scores.inputs import Inputs
from parser.settings import Settings

#: How a severity ranks in the debrief.
RANK: dict[Severity, float] = {"urgent": 100.0, "attention": 10.0, "note": 1.0}
_MOST_EVIDENCE = 8

Kind = TypeVar("Kind", bound=LexiconEntry)


@dataclass(frozen=True)
class Inspection:
    """One record under audit: its standing entries, the checklist wanted, inputs for values."""

    record: Record
    lexicon: Lexicon
    lookup: Lookup
    inputs: Inputs
    wanted: Wanted
    settings: Settings
    values: tuple[Computed, ...]

    @cached_property
    def by_id(self) -> Mapping[str, Found]:
        """Standing entries by id."""
        return {found.entry.id: found for found in self.lookup.found}

    @cached_property
    def confirmed(self) -> frozenset[str]:
        """Ids of entries that someone has confirmed."""
        return frozenset(a.supersedes for a in self.record.amendments if a.kind == "confirmation")

    def rules(self, name: str, kind: type[Kind]) -> Kind:
        """A file of rules by its name; an empty one when the lexicon has none."""
        found = self.lexicon.files.get(name)
        return found if isinstance(found, kind) else kind()

    def title(self, region: str) -> str:
        known = self.lexicon.regions.get(region)
        return known.title if known else region

    def remark(
        self, name: str, rule: Rule, message: str, found: Sequence[Found] = (), *, region: str | None = None,
        say: str | None = None, severity: Severity | None = None, factor: float = 1.0,
    ) -> Remark:
        """A remark with where, why, source and what to say next time."""
        weight = RANK[severity or rule.severity] * rule.weight * factor
        text = f"{message} {rule.why}".strip()
        return Remark(
            rule=name,
            severity=severity or rule.severity,
            region=region or (found[0].region if found else None),
            message=text,
            evidence=tuple(f.entry.evidence for f in found[:_MOST_EVIDENCE]),
            source=cite(self.lexicon, rule.source),
            entries=tuple(f.entry.id for f in found),
            say=say or rule.say or None,
            weight=round(weight, 3),
        )


def clock(seconds: float) -> str:
    """Seconds from the start as minutes and seconds: 252.4 -> "4:12"."""
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def when(found: Found) -> str:
    """Where something was said: "at 4:12", or "in line 14" for text."""
    start = found.start
    return f"at {clock(start)}" if start is not None else f"in line {found.entry.evidence.utterance}"


def quoted(found: Found) -> str:
    """The words of an entry and where they were said."""
    return f"“{found.entry.evidence.text}” ({when(found)})"


def listed(names: Sequence[str], last: str = "and") -> str:
    """Names as a list in a sentence: "a, b and c"."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} {last} {names[-1]}"
