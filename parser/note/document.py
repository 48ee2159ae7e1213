"""A note as values, before any format: what every page, file and print is made from."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from lexicon import Lexicon
from parser.citing import citations
from parser.conversion import convert, shown
from parser.note.exceptions import exceptions
from parser.note.facts import standing
from parser.note.grammar import Grammar, grammar_of, sentence
from parser.note.handoff import handoff
from parser.note.narrative import Paragraph, compose, narrative
from parser.note.placing import Placing
from parser.record import Amendment, Computed, Entry, Record, Remark

PAPERS = ("a4", "us-letter")
#: Values also shown in the other customary unit.
_ALSO = {"[degF]": "Cel", "Cel": "[degF]", "[lb_av]": "kg", "kg": "[lb_av]", "[in_i]": "cm", "cm": "[in_i]"}
_BODY = ("temperature", "weight", "height", "head_circumference")


@dataclass(frozen=True, slots=True)
class Style:
    """How a note is written.

    ``trace`` names under every sentence its words; ``template`` is a school's Word file; ``moment`` the
    time of writing in ISO 8601, which a FHIR document must have; ``paper`` is "a4" or "us-letter".
    """

    wording: str = "narrative"
    trace: bool = False
    template: bytes | None = None
    moment: str | None = None
    paper: str = "a4"


@dataclass(frozen=True, slots=True)
class Station:
    """A station in the strip."""

    region: str
    title: str
    coverage: str
    said: int
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """A value in the table of vital signs and scales."""

    entry: str
    concept: str
    name: str
    value: str
    also: str
    how: str
    time: str


@dataclass(frozen=True, slots=True)
class Document:
    """All parts of a note in the order in which a page shows them."""

    title: str
    run: str
    source: str
    facts: tuple[tuple[str, str], ...]
    strip: tuple[Station, ...]
    remarks: tuple[Remark, ...]
    heading: str
    paragraphs: tuple[Paragraph, ...]
    rows: tuple[Row, ...]
    computed: tuple[Computed, ...]
    trail: tuple[str, ...]
    not_documented: str
    norms: tuple[tuple[str, str], ...]
    sources: tuple[str, ...]
    cautions: tuple[str, ...]
    evidence: dict[str, str] = field(default_factory=dict)
    trace: bool = False


def document(record: Record, lexicon: Lexicon, style: Style | None = None) -> Document:
    """The document of a record. Raises KeyError for a wording that is not in :data:`WORDINGS`."""
    style = style or Style()
    grammar = grammar_of(lexicon)
    heading, _ = WORDINGS[style.wording]
    run = record.run
    facts = [("Run", run.id), ("Source", run.source)]
    if run.duration_s is not None:
        facts.append(("Length", clock(run.duration_s)))
    return Document(
        title=grammar.templates["title"], run=run.id, source=run.source, facts=tuple(facts),
        strip=strip(record, lexicon), remarks=record.remarks, heading=heading,
        paragraphs=paragraphs(record, lexicon, style.wording),
        rows=rows(record, lexicon), computed=tuple(c for c in record.computed if c.value is not None),
        trail=tuple(trail(record, grammar)), not_documented=not_documented(record, lexicon, grammar),
        norms=norms(record, lexicon) if style.wording == "exception" else (),
        sources=sources(record, lexicon),
        cautions=(grammar.templates["simulation"], grammar.templates["caution"]),
        evidence={entry.id: evidence_line(entry) for _, entry in standing(record)}, trace=style.trace)


def sources(record: Record, lexicon: Lexicon) -> tuple[str, ...]:
    """Every source that a remark or a computed value names, in full."""
    lines = (*(remark.source for remark in record.remarks), *(value.source for value in record.computed))
    return tuple(f"{key}: {citation}" for key, citation in citations(lexicon, lines))


def by_exception(record: Record, lexicon: Lexicon) -> tuple[Paragraph, ...]:
    """The exceptions station by station, worded like the narrative."""
    return compose(exceptions(record, lexicon), lexicon)


#: Wording -> its heading, and the function that writes its paragraphs.
WORDINGS: dict[str, tuple[str, Callable[[Record, Lexicon], tuple[Paragraph, ...]]]] = {
    "narrative": ("Note", narrative),
    "exception": ("Note by exception", by_exception),
    "handoff": ("Handoff (SBAR)", handoff),
}


@dataclass(slots=True)
class _Memo:
    """The paragraphs made last: several formats of one record are worded once."""

    record: Record | None = None
    lexicon: Lexicon | None = None
    wording: str = ""
    made: tuple[Paragraph, ...] = ()


_LAST = _Memo()


def paragraphs(record: Record, lexicon: Lexicon, wording: str) -> tuple[Paragraph, ...]:
    """The paragraphs of a wording. Raises KeyError for one that is not in :data:`WORDINGS`."""
    write = WORDINGS[wording][1]
    if _LAST.record is not record or _LAST.lexicon is not lexicon or _LAST.wording != wording:
        made = write(record, lexicon)
        _LAST.record, _LAST.lexicon, _LAST.wording, _LAST.made = record, lexicon, wording, made
    return _LAST.made


def strip(record: Record, lexicon: Lexicon) -> tuple[Station, ...]:
    """The stations from crown to sole; those of which nothing was wanted nor said are left out."""
    return tuple(
        Station(r.region, lexicon.regions[r.region].title if r.region in lexicon.regions else r.region, r.coverage,
                len(r.entries), r.missing)
        for r in record.regions if r.entries or r.missing or r.coverage == "partial")


def clock(seconds: float | None) -> str:
    """Minutes and seconds into the run: "4:12"; empty for text input."""
    return "" if seconds is None else f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def evidence_line(entry: Entry) -> str:
    """Where an entry comes from: its words, the moment or the line, and how surely they were heard."""
    evidence = entry.evidence
    where = f"at {clock(evidence.start)}" if evidence.start is not None else f"line {evidence.utterance}"
    sure = f", {entry.confidence:.0%} sure" if entry.confidence < 1 else ""
    return f"{entry.id} ({where}{sure}): \"{evidence.text}\""


def rows(record: Record, lexicon: Lexicon) -> tuple[Row, ...]:
    """Vital signs and scales that stand, in record order."""
    grammar = grammar_of(lexicon)
    placing = Placing(lexicon)
    return tuple(_row(entry, grammar, placing) for _, entry in standing(record)
                 if entry.value and entry.kind in ("measure", "scale") and entry.status == "present")


def _row(entry: Entry, grammar: Grammar, placing: Placing) -> Row:
    value = entry.value
    assert value is not None
    other = _ALSO.get(value.unit or "") if entry.concept in _BODY else None
    number = convert(value.number, value.unit, other) if other and value.number is not None else None
    side = {"both": "both sides"}.get(entry.side or "", entry.side or "")
    place = placing.subject(entry) or side
    how = [place] if place and not any(place in each for each in entry.qualifiers) else []
    how += [each for each in entry.qualifiers if each not in how]
    return Row(entry.id, entry.concept, entry.label, grammar.quantity(value.text, value.unit),
               "" if number is None else shown(number, other, 1), ", ".join(how), clock(entry.evidence.start))


def trail(record: Record, grammar: Grammar) -> list[str]:
    """What was corrected or withdrawn, with both wordings and when."""
    entries = record.entries()
    return [_amended(a, entries, grammar) for a in record.amendments if a.supersedes in entries]


def _amended(amendment: Amendment, entries: dict[str, tuple[str, Entry]], grammar: Grammar) -> str:
    old = entries[amendment.supersedes][1].evidence
    new = entries[amendment.entry][1].evidence if amendment.entry in entries else None
    text = grammar.say("replaced", old=old.text, new=new.text) if new else grammar.say("withdrawn", old=old.text)
    moment = (new or amendment.evidence or old)
    where = f"at {clock(moment.start)}" if moment.start is not None else f"line {moment.utterance}"
    return f"{text} ({amendment.kind}, {amendment.by}, {where})"


def not_documented(record: Record, lexicon: Lexicon, grammar: Grammar) -> str:
    """One sentence that names every station of which nothing was said; empty when there is none."""
    titles = [station.title for station in strip(record, lexicon) if station.coverage == "missing" and not station.said]
    return grammar.say("not_documented", stations="; ".join(titles)) if titles else ""


def norms(record: Record, lexicon: Lexicon) -> tuple[tuple[str, str], ...]:
    """The norm of every station at which something was said, against which exceptions are written."""
    said = {region for region, _ in standing(record)}
    return tuple((region.title, sentence("; ".join(region.expected)))
                 for region in lexicon.regions.values() if region.expected and region.id in said)
