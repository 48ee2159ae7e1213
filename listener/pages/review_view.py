"""What the review page is shown of a run, as plain values: a pure function of its record.

A *line* is one thing that was said, through all its changes: it begins with an entry and shows the one that stands
for it now. Places of words inside an utterance count UTF-16 units, as the strings of a browser do.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from itertools import accumulate
from typing import Any

from lexicon import Lexicon
from listener.archive import RunInfo
from listener.wording import in_words, title
from parser.citing import citations
from parser.conversion import shown
from parser.debrief import MOST
from parser.proposing import Other, others
from parser.record import Amendment, Entry, Record, RecordEvidence, RecordWord, Remark
from parser.transcript import Utterance

#: Below this the page says how surely a line was heard.
_SURE = 0.9


@dataclass(frozen=True, slots=True)
class Moment:
    """A place in the run: word range (inclusive), utterance, seconds or None; ``line`` where a line stands on it."""

    utterance: int
    words: tuple[int, int]
    start: float | None
    end: float | None
    line: str | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """One change of a line. ``how``: changed, confirmed, withdrawn, restored; ``at`` ISO 8601 or None (spoken)."""

    how: str
    by: str
    at: str | None
    reason: str | None
    before: str
    after: str | None
    moment: Moment | None


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the record. ``id`` stays through all changes, ``entry`` is what stands now (or stood last).

    ``others`` are other readings of its words; ``heard`` what the recogniser said where words were repaired;
    ``confidence`` only where it is low.
    """

    id: str
    entry: str
    words_said: str
    label: str
    status: str
    side: str | None
    site: str | None
    value: str | None
    moment: Moment
    kind: str
    said: str
    withdrawn: bool
    confirm: str | None
    others: tuple[Other, ...]
    heard: str | None
    confidence: float | None
    inferred: bool
    trail: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Station:
    """A station of the strip with its lines in the order they were said. ``missing``: what was not heard, to say."""

    id: str
    title: str
    coverage: str
    said: int
    missing: tuple[str, ...]
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Doubt:
    """A word of an utterance (counted within it) that was not heard surely, or was repaired."""

    word: int
    why: str | None
    heard: str | None


@dataclass(frozen=True, slots=True)
class Said:
    """An utterance. ``words``: from and to within ``text``, start and end in seconds or None."""

    number: int
    first: int
    text: str
    words: tuple[tuple[int, int, float | None, float | None], ...]
    doubts: tuple[Doubt, ...]


@dataclass(frozen=True, slots=True)
class RemarkView:
    number: int
    severity: str
    rule: str
    station: str | None
    message: str
    say: str | None
    source: str
    moments: tuple[Moment, ...]


@dataclass(frozen=True, slots=True)
class Figure:
    """A computed value: text, or None with what is missing for it."""

    label: str
    text: str | None
    formula: str
    source: str
    note: str | None
    missing: tuple[str, ...]
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Loose:
    """Words that became no line, with the reason where there is one; or a moment the speaker marked."""

    text: str
    reason: str | None
    moment: Moment


@dataclass(frozen=True, slots=True)
class RunView:
    id: str
    source: str
    made: str
    kind: str
    status: str
    seconds: float
    checklist: str
    model: str | None
    vocabulary: str | None
    lexicon: str
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReviewView:
    """All that the page shows. ``front`` remarks stand first; ``waiting`` lines wait to be confirmed; ``sources`` are
    short names and full citations of what remarks and computed values rest on.
    """

    run: RunView
    stations: tuple[Station, ...]
    utterances: tuple[Said, ...]
    remarks: tuple[RemarkView, ...]
    front: int
    sources: tuple[tuple[str, str], ...]
    computed: tuple[Figure, ...]
    unfiled: tuple[Loose, ...]
    marks: tuple[Loose, ...]
    waiting: int


def review_of(
    info: RunInfo,
    record: Record,
    utterances: Sequence[Utterance],
    lexicon: Lexicon,
    marks: Sequence[Mapping[str, Any]] = (),
) -> ReviewView:
    """The view of a run; linear in its entries and words. ``marks``: the bodies of its events of that kind."""
    lines = _lines(record, lexicon)
    home = {entry: line for station in lines.values() for line, entries in station for entry in entries}
    stations = tuple(
        Station(
            region.region,
            title(region.region, lexicon),
            region.coverage,
            sum(not line.withdrawn for line, _ in lines[region.region]),
            region.missing,
            tuple(line for line, _ in lines[region.region]),
        )
        for region in record.regions
        if lines[region.region] or region.missing or region.coverage == "partial"
    )
    said = tuple(map(_said, utterances))
    return ReviewView(
        _run(info, record),
        stations,
        said,
        tuple(_remark(number, remark, home, lexicon) for number, remark in enumerate(record.remarks, 1)),
        MOST,
        citations(lexicon, [*(r.source for r in record.remarks), *(c.source for c in record.computed)]),
        tuple(_figures(record, home)),
        tuple(Loose(u.text, u.reason, _moment(u.evidence)) for u in record.unfiled),
        tuple(_mark(mark, home, said) for mark in marks),
        sum(bool(line.confirm) and not line.withdrawn for station in stations for line in station.lines),
    )


def plain(value: Any) -> Any:
    """A view as plain JSON values; what is None, empty or False is left out."""
    if is_dataclass(value) and not isinstance(value, type):
        named = ((field.name, getattr(value, field.name)) for field in fields(value))
        return {name: plain(one) for name, one in named if one is not None and one is not False and one != ()}
    if isinstance(value, tuple | list):
        return [plain(one) for one in value]
    if isinstance(value, Mapping):
        return {str(name): plain(one) for name, one in value.items()}
    return value


def _run(info: RunInfo, record: Record) -> RunView:
    model = record.run.model
    return RunView(
        info.id,
        info.head.source,
        info.head.made_at,
        info.head.kind,
        info.status,
        info.seconds,
        info.head.checklist,
        model.name if model else None,
        model.vocabulary if model else None,
        record.run.lexicon.version,
        record.run.remarks,
    )


def _lines(record: Record, lexicon: Lexicon) -> dict[str, list[tuple[Line, tuple[str, ...]]]]:
    """Station -> its lines, each with the ids of all entries that were ever the line."""
    entries = record.entries()
    chains = _chains(record, entries)
    found: dict[str, list[tuple[Line, tuple[str, ...]]]] = {region.region: [] for region in record.regions}
    for chain, amendments in chains.values():
        region, _ = entries[chain[-1]]
        found[region].append((_line(chain, amendments, entries, record.words, lexicon), chain))
    for lines in found.values():
        lines.sort(key=lambda pair: (pair[0].moment.words[0], int(pair[0].id[1:])))
    return found


def _chains(
    record: Record, entries: Mapping[str, tuple[str, Entry]]
) -> dict[str, tuple[tuple[str, ...], tuple[Amendment, ...]]]:
    """First entry of a line -> all its entries and its amendments, each in order."""
    root: dict[str, str] = {}
    chains: dict[str, list[str]] = {}
    trails: dict[str, list[Amendment]] = {}
    for amendment in record.amendments:
        if amendment.supersedes not in entries:
            continue
        first = root.get(amendment.supersedes, amendment.supersedes)
        trails.setdefault(first, []).append(amendment)
        if amendment.entry in entries and amendment.entry is not None:
            root[amendment.entry] = first
            chains.setdefault(first, [first]).append(amendment.entry)
    return {
        number: (tuple(chains.get(number, (number,))), tuple(trails.get(number, ())))
        for number in entries
        if number not in root
    }


def _line(
    chain: tuple[str, ...],
    amendments: tuple[Amendment, ...],
    entries: Mapping[str, tuple[str, Entry]],
    words: tuple[RecordWord, ...],
    lexicon: Lexicon,
) -> Line:
    entry = entries[chain[-1]][1]
    withdrawn = bool(amendments) and amendments[-1].entry is None
    confirm = None if withdrawn else entry.confirm
    return Line(
        id=chain[0],
        entry=entry.id,
        words_said=in_words(entry),
        label=entry.label,
        status=entry.status,
        side=entry.side,
        site=entry.site,
        value=entry.value.text if entry.value else None,
        moment=_moment(entry.evidence),
        kind=entry.kind,
        said=entry.evidence.text,
        withdrawn=withdrawn,
        confirm=confirm,
        others=others(entry, words, lexicon) if confirm else (),
        heard=_heard(entry.evidence, words),
        confidence=round(entry.confidence, 2) if entry.confidence < _SURE else None,
        inferred=entry.inferred,
        trail=tuple(_step(amendment, entries, amendments) for amendment in amendments),
    )


def _heard(evidence: RecordEvidence, words: Sequence[RecordWord]) -> str | None:
    """What was heard behind a line, where that differs from its words."""
    behind = words[evidence.words[0] : evidence.words[1] + 1]
    return " ".join(word.heard for word in behind) if any(word.heard != word.text for word in behind) else None


def _step(amendment: Amendment, entries: Mapping[str, tuple[str, Entry]], trail: Sequence[Amendment]) -> Step:
    before = entries[amendment.supersedes][1]
    after = entries[amendment.entry][1] if amendment.entry in entries and amendment.entry is not None else None
    earlier = [a for a in trail[: trail.index(amendment)] if a.supersedes == amendment.supersedes]
    restored = any(a.entry is None for a in earlier)
    how = (
        "withdrawn"
        if after is None
        else "restored"
        if restored
        else "confirmed"
        if amendment.kind == "confirmation"
        else "changed"
    )
    moment = _moment(amendment.evidence) if amendment.evidence is not None else None
    said = in_words(after) if after is not None else None
    return Step(how, amendment.by, amendment.at, amendment.reason, in_words(before), said, moment)


def _moment(evidence: RecordEvidence, line: str | None = None) -> Moment:
    return Moment(evidence.utterance, evidence.words, evidence.start, evidence.end, line)


def _said(utterance: Utterance) -> Said:
    units = _units(utterance.text)
    words = tuple(
        (units(w.chars[0] - utterance.offset), units(w.chars[1] - utterance.offset), w.start, w.end)
        for w in utterance.words
    )
    doubts = tuple(
        Doubt(number, word.doubt, word.heard if word.heard != word.text else None)
        for number, word in enumerate(utterance.words)
        if word.doubt or word.heard != word.text
    )
    return Said(utterance.number, utterance.first_word, utterance.text, words, doubts)


def _units(text: str) -> Callable[[int], int]:
    """Place in a text -> the same place in UTF-16 units."""
    if text.isascii() or max(text) < "\U00010000":
        return lambda at: at
    places = list(accumulate((len(c.encode("utf-16-le")) // 2 for c in text), initial=0))
    return lambda at: places[min(max(at, 0), len(text))]


def _remark(number: int, remark: Remark, home: Mapping[str, Line], lexicon: Lexicon) -> RemarkView:
    """A remark with the moments it is about: its own words, else those of the lines it names."""
    lines = [home[entry] for entry in remark.entries if entry in home]
    by_words = {line.moment.words: line.id for line in reversed(lines)}
    moments = [_moment(evidence, by_words.get(evidence.words)) for evidence in remark.evidence]
    placed = {moment.line for moment in moments}
    moments += [replace(line.moment, line=line.id) for line in lines if line.id not in placed]
    return RemarkView(
        number,
        remark.severity,
        remark.rule,
        title(remark.region, lexicon) if remark.region else None,
        remark.message,
        remark.say,
        remark.source,
        tuple({(m.words, m.line): m for m in moments}.values()),
    )


def _figures(record: Record, home: Mapping[str, Line]) -> Iterator[Figure]:
    for each in record.computed:
        text = None if each.value is None else shown(each.value, each.unit)
        lines = tuple(dict.fromkeys(home[entry].id for entry in each.from_ if entry in home))
        yield Figure(each.label, text, each.formula, each.source, each.note, each.missing, lines)


def _mark(mark: Mapping[str, Any], home: Mapping[str, Line], utterances: Sequence[Said]) -> Loose:
    """A moment the speaker marked: the line it was about, else the words last said."""
    line = home.get(str(mark.get("entry")))
    if line is not None:
        return Loose(line.words_said, None, replace(line.moment, line=line.id))
    number = mark.get("utterance")
    said = next((u for u in utterances if u.number == number), None)
    at = said.first if said is not None else 0
    text = said.text if said is not None else ""
    return Loose(text, None, Moment(int(number or 0), (at, at), mark.get("start"), None))
