"""Statements: everything that was found in one utterance, put together with its evidence.

Places, sides, values, statuses and doubts of the earlier layers come together here; nothing new is
found. Evidence is given in characters of the utterance; the pipeline anchors it to words and times.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any

from lexicon import ANY, Lexicon
from lexicon.schema import Concept
from parser.components.layer import register
from parser.components.lists import DOUBTFUL
from parser.components.siding import Siding
from parser.layers import (
    Aside,
    Assertion,
    Boundary,
    Finding,
    Mention,
    SideMention,
    SiteUse,
    SlotValue,
)
from parser.statements import AND, Evidence, Kind, Side, Situation, Statement, Status
from parser.tokens import Tokens

_VITALS = "vital_signs"

#: The concept of a station of which nothing but its being left out was said.
EXAMINATION = "examination"

_KIND: dict[str, Kind] = {"scale": "scale", "step": "step", "device": "device", "report": "report"}
#: A place further than this many tokens from its finding is no part of the evidence.
NEAR = 9
#: The same for a side.
SIDE_NEAR = 15


def find_statements(
    tokens: Tokens,
    terms: tuple[Mention, ...],
    findings: tuple[Finding, ...],
    assertions: tuple[Assertion, ...],
    sides: tuple[SideMention, ...],
    values: tuple[SlotValue, ...],
    boundaries: tuple[Boundary, ...],
    asides: tuple[Aside, ...],
    situation: Situation,
    lexicon: Lexicon,
) -> tuple[Statement, ...]:
    """The statements of one utterance in the order they were said, before corrections are resolved."""
    return _Builder(tokens, terms, findings, assertions, sides, values, boundaries, asides, situation, lexicon).build()


@lru_cache(maxsize=4)
def _known(lexicon: Lexicon) -> tuple[Mapping[str, Any], Mapping[str, Concept], Mapping[str, Any]]:
    """Measures by id, the first concept that each scale grades, scales by id."""
    measures = {m.id: m for m in getattr(lexicon.files.get("measures"), "measures", ())}
    graded = {c.scale: c for c in reversed(tuple(lexicon.concepts.values())) if c.kind == "scale" and c.scale}
    scales = {s.id: s for s in getattr(lexicon.files.get("scales"), "scales", ())}
    return measures, graded, scales


class _Builder:
    def __init__(
        self,
        tokens: Tokens,
        terms: tuple[Mention, ...],
        findings: tuple[Finding, ...],
        assertions: tuple[Assertion, ...],
        sides: tuple[SideMention, ...],
        values: tuple[SlotValue, ...],
        boundaries: tuple[Boundary, ...],
        asides: tuple[Aside, ...],
        situation: Situation,
        lexicon: Lexicon,
    ) -> None:
        self.tokens, self.terms, self.findings, self.lexicon = tokens, terms, findings, lexicon
        self.assertions, self.values, self.asides = assertions, values, asides
        self.doubtful = [boundary.at for boundary in boundaries if boundary.reason == DOUBTFUL]
        self.firm = [boundary.at for boundary in boundaries if boundary.reason in ("mark", "line")]
        self.siding = Siding(tokens.words, sides, findings, values, terms, boundaries, situation)
        self.by_mention: dict[int, list[SlotValue]] = {}
        for value in values:
            if value.mention is not None and not self._in_aside(value.start):
                self.by_mention.setdefault(value.mention, []).append(value)
        self.measures, self.graded, self.scales = _known(lexicon)

    def build(self) -> tuple[Statement, ...]:
        placed: list[tuple[int, Statement]] = []
        by_finding = {finding.mention for finding in self.findings if finding.kind not in ("region", "measure")}
        listed = _lists(self.findings)
        for i, finding in enumerate(self.findings):
            if finding.kind in ("region", "measure"):
                placed += self._not_assessed(finding, self.assertions[i])
            elif not self._told_with_value(finding):
                placed += self._of_finding(finding, self.assertions[i], listed[i])
        for value in self.values:
            if value.mention not in by_finding and not self._in_aside(value.start):
                placed.append((value.start, self._of_measure(value)))
        placed.sort(key=lambda item: item[0])
        return tuple(statement for _, statement in placed)

    def _not_assessed(self, finding: Finding, assertion: Assertion) -> Iterator[tuple[int, Statement]]:
        """A station or a measure of which only is said that it was not looked at."""
        if assertion.status != "not_assessed" or finding.mention in self.by_mention:
            return
        spans = [(finding.start, finding.end), *([assertion.cue] if assertion.cue else [])]
        measure = self.measures.get(finding.id)
        yield (
            finding.start,
            Statement(
                concept=finding.id if measure else EXAMINATION,
                kind="measure" if measure else "step",
                status="not_assessed",
                region=self._home(finding.id, None) if measure else finding.region,
                evidence=self._evidence(spans),
                label=measure.label if measure else EXAMINATION,
            ),
        )

    def _told_with_value(self, finding: Finding) -> bool:
        """A general word that already qualifies a value ("pulse seventy six regular") is no finding of its own."""
        if self.lexicon.home.get(finding.id) != ANY:
            return False
        word = self.tokens.slice_text(finding.start, finding.end).lower()
        return any(word in value.qualifiers and abs(finding.start - value.end) <= 4 for value in self.values)

    def _in_aside(self, at: int) -> bool:
        return any(aside.start <= at < aside.end for aside in self.asides)

    # -- findings ----------------------------------------------------------------------------

    def _of_finding(
        self, finding: Finding, assertion: Assertion, listed: Sequence[Finding]
    ) -> Iterator[tuple[int, Statement]]:
        if assertion.status == "hypothetical":
            return
        values = self.by_mention.get(finding.mention, [])
        if values and assertion.status == "present" and self._names_measure(finding, values[0]):
            yield from self._measured(finding, values, listed)
            return
        side = self.siding.of_finding(finding, listed)
        if not values:
            yield finding.start, self._statement(finding, assertion, side, None)
        before_first = bool(values) and self.siding.leads(values[0])
        for before, value in zip((None, *values), values, strict=False):
            own = self.siding.of_value(value, len(values) > 1, before_first)
            of_its_place = self._renamed(finding, before, value) if before else finding
            given = (own or side) if len(values) > 1 else (side or own)
            yield max(finding.start, value.start), self._statement(of_its_place, assertion, given, value)

    def _renamed(self, finding: Finding, before: SlotValue, value: SlotValue) -> Finding:
        """The finding at the place named between two of its values ("pedal 2+, posterior tibial 1+")."""
        named = tuple(
            SiteUse(term.id, m.start, m.end)
            for m in self.terms
            for term in m.terms[:1]
            if term.kind == "site" and before.end <= m.start and m.end <= value.start
        )
        return replace(finding, sites=named) if named else finding

    def _names_measure(self, finding: Finding, value: SlotValue) -> bool:
        """Whether the number makes it a measure or a score of its own ("pain" with a number is a pain score)."""
        if value.measure in self.measures:
            return True
        return finding.kind != "scale" and any(
            t.kind == "scale" and t.id == value.measure for t in self.terms[finding.mention].terms
        )

    def _measured(
        self, finding: Finding, values: Sequence[SlotValue], listed: Sequence[Finding]
    ) -> Iterator[tuple[int, Statement]]:
        """A finding whose number is a measure ("pain seven out of ten in the left knee")."""
        side = self.siding.of_finding(finding, listed)
        site = _site_text(finding)
        for value in values:
            statement = self._of_measure(value)
            yield value.start, replace(statement, site=site, side=statement.side or (side.side if side else None))

    def _statement(
        self, finding: Finding, assertion: Assertion, side: SideMention | None, value: SlotValue | None
    ) -> Statement:
        concept = self.lexicon.concepts.get(finding.id)
        status, doubts = _status(finding, assertion)
        spans = [(finding.start, finding.end)]
        spans += [(s.start, s.end) for s in finding.sites if s.end > s.start and self._near(s, finding)]
        spans += [(value.start, value.end)] if value else []
        spans += [(side.start, side.end)] if side and self._near(side, finding, SIDE_NEAR) else []
        spans += [assertion.cue] if assertion.cue and finding.start - 12 <= assertion.cue[0] <= finding.end + 12 else []
        given = side.side if side else self.siding.carried(finding.sites[-1].id if finding.sites else None)
        spans += finding.attributes
        told = tuple(self.tokens.slice_text(*span).lower() for span in finding.attributes)
        qualifiers = ((side.comparison,) if side and side.comparison else ()) + _qualifiers(value) + told
        label = concept.label if concept else getattr(self.scales.get(finding.id), "label", finding.id)
        return Statement(
            concept=finding.id,
            kind=_KIND.get(finding.kind, "finding"),
            status=status,
            region=finding.region,
            evidence=self._evidence(spans),
            label=label,
            site=_site_text(finding),
            side=given,
            value=value.value if value else None,
            qualifiers=qualifiers,
            doubts=(*doubts, *self._list_doubts(finding, assertion, value), *_value_doubts(value)),
        )

    def _near(self, said: SiteUse | SideMention, finding: Finding, limit: int = NEAR) -> bool:
        """Whether a place or a side is part of the evidence: said close by, and in the same sentence."""
        first, last = sorted((said.start, finding.start))
        return last - first <= limit and bisect_right(self.firm, first) == bisect_right(self.firm, last)

    def _list_doubts(self, finding: Finding, assertion: Assertion, value: SlotValue | None) -> tuple[str, ...]:
        """A negated finding with a place or value of its own, where the list may have ended before it."""
        if (
            assertion.status != "absent"
            or assertion.cue is None
            or not (value or any(s.start > finding.start for s in finding.sites))
        ):
            return ()
        ended = any(assertion.cue[0] < at <= finding.start for at in self.doubtful)
        return (f'the list after "{assertion.cue_text}" may have ended before it; could be present',) if ended else ()

    # -- measures ----------------------------------------------------------------------------

    def _of_measure(self, value: SlotValue) -> Statement:
        name = value.measure or "number"
        measure = self.measures.get(name)
        mention = self.terms[value.mention] if value.mention is not None else None
        spans = [(value.start, value.end)] + (
            [(mention.start, mention.end)] if mention and abs(mention.start - value.start) <= 20 else []
        )
        side = self.siding.of_value(value, False, False, mention.start if mention else None)
        site = next((t.id for t in mention.terms if t.kind == "site"), None) if mention else None
        graded = self.graded.get(name)
        own = _own_side(value)
        return Statement(
            concept=graded.id if graded else name,
            site=site,
            kind="measure" if measure else "scale",
            status="present",
            region=self._home(name, site),
            evidence=self._evidence(spans),
            label=graded.label if graded else getattr(measure or self.scales.get(name), "label", name),
            side=own or (side.side if side else None),
            value=value.value,
            qualifiers=_qualifiers(value),
            doubts=_value_doubts(value),
        )

    def _home(self, name: str, site: str | None) -> str:
        """The station of a measure or scale: its own, its place's, or that of the concepts graded by it."""
        if name in self.measures:
            return getattr(self.measures[name], "region", None) or _VITALS
        place = self.lexicon.home.get(site) if site else None
        named = place if place in self.lexicon.regions else getattr(self.scales.get(name), "region", None)
        if named:
            return str(named)
        homes = (self.lexicon.home[c.id] for c in self.lexicon.concepts.values() if c.scale == name)
        return next((home for home in homes if home in self.lexicon.regions), _VITALS)

    def _evidence(self, spans: Sequence[tuple[int, int]]) -> Evidence:
        start, end = min(s for s, _ in spans), max(e for _, e in spans)
        text = self.tokens.slice_text(start, end)
        return Evidence(0, (-1, -1), None, None, (self.tokens.starts[start], self.tokens.ends[end - 1]), text, text)


def _site_text(finding: Finding) -> str | None:
    """The sites of one statement; several said together stay one statement ("radial and brachial")."""
    return AND.join(dict.fromkeys(site.id for site in finding.sites)) or None


def _lists(findings: tuple[Finding, ...]) -> list[Sequence[Finding]]:
    """For each finding the ones of its clause from it on, at most eight."""
    listed: list[Sequence[Finding]] = []
    for i, finding in enumerate(findings):
        end = i
        while end < len(findings) and end < i + 8 and findings[end].clause == finding.clause:
            end += 1
        listed.append(findings[i:end])
    return listed


def _status(finding: Finding, assertion: Assertion) -> tuple[Status, tuple[str, ...]]:
    """Status of a finding from its cue and its form; a negated negative is marked."""
    status: Status = "present" if assertion.status == "hypothetical" else assertion.status
    if finding.absent and status == "absent":
        if assertion.cue is not None and not assertion.cue[1] <= finding.start <= assertion.cue[1] + 1:
            return "absent", ()  # "not palpable and nontender": each says no by itself
        return "uncertain", (f'a double negative: "{assertion.cue_text} ... " before a word that itself says no',)
    if finding.absent and status == "present":
        return "absent", ()
    if status == "present" and (finding.normal is not None or finding.id == "normal"):
        return "normal", ()
    return status, ()


def _own_side(value: SlotValue) -> Side | None:
    """The side that the value's own words tell ("right arm")."""
    for qualifier in value.qualifiers:
        first = qualifier.split()[0]
        if first == "left":
            return "left"
        if first == "right":
            return "right"
    return None


def _qualifiers(value: SlotValue | None) -> tuple[str, ...]:
    """The qualifiers of a value; bare sides are told by the statement itself."""
    return tuple(q for q in value.qualifiers if q not in ("left", "right", "both")) if value else ()


def _value_doubts(value: SlotValue | None) -> tuple[str, ...]:
    if value is None:
        return ()
    other = (
        (f"could also be {value.other}",)
        if value.other and not any(value.other in doubt for doubt in value.doubts)
        else ()
    )
    return (*value.doubts, *other)


create_statements = register(
    "statements",
    find_statements,
    ("terms", "findings", "assertions", "sides", "values", "boundaries", "asides"),
    situation=True,
)
