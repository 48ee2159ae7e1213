"""The debrief in plain text: the strip of stations, what to look at first, then all remarks.

Every remark answers where, why, from which source, and what to say next time. At most seven stand in
front, ranked by weight; nothing is left out of the rest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap

from lexicon import Lexicon
from parser.citing import citations
from parser.conversion import shown
from parser.record import Computed, Record, RegionRecord, Remark

#: Remarks shown first.
MOST = 7
WIDTH = 88
_SIGNS = {"documented": "[x]", "partial": "[~]", "missing": "[ ]"}
_SEVERITIES = {"urgent": "NOW", "attention": "LOOK", "note": "NOTE"}
CAUTION = (
    "A practice and documentation aid, not a medical device. Escalate by local policy; "
    "a licensed clinician decides."
)


def debrief(record: Record, lexicon: Lexicon, note: str = "") -> str:
    """The debrief of an audited record as lines of at most 88 characters, ending with a line feed.

    A ``note`` stands between the remarks and the computed values.
    """
    if [remark.rule for remark in record.remarks] == ["nothing_heard"]:
        return "\n".join([*_kind(record.remarks[0]), "", *wrap(CAUTION, WIDTH)]) + "\n"
    first, rest = record.remarks[:MOST], record.remarks[MOST:]
    parts = [list(_strip(record, lexicon)), list(_first(first, rest))]
    if rest:
        parts.append(["ALL OTHER REMARKS", *_numbered(rest, len(first) + 1)])
    parts.append(note.splitlines())
    parts += [list(_values(record.computed)), list(_sources(record, lexicon)), wrap(CAUTION, WIDTH)]
    return "\n\n".join("\n".join(lines) for lines in parts if lines) + "\n"


def _kind(remark: Remark) -> Iterator[str]:
    yield from wrap(remark.message, WIDTH)
    if remark.say:
        yield from wrap(remark.say, WIDTH)


def _strip(record: Record, lexicon: Lexicon) -> Iterator[str]:
    """One line a station, crown to sole; stations of which nothing was wanted nor said are left out."""
    shown_ = [r for r in record.regions if r.entries or r.missing or r.coverage == "partial"]
    done = sum(region.coverage == "documented" for region in shown_)
    yield f"STATIONS, CROWN TO SOLE: {done} of {len(shown_)} documented"
    for region in shown_:
        yield from _station(region, lexicon)


def _station(region: RegionRecord, lexicon: Lexicon) -> Iterator[str]:
    known = lexicon.regions.get(region.region)
    head = f"{_SIGNS[region.coverage]} {known.title if known else region.region}"
    said = f"{len(region.entries)} said" if region.entries else "nothing said"
    if region.coverage == "partial" and region.missing:
        said = f"not heard: {'; '.join(region.missing)}"
    yield from wrap(f"{head}: {said}", WIDTH, subsequent_indent="      ")


def _first(first: Sequence[Remark], rest: Sequence[Remark]) -> Iterator[str]:
    if not first:
        yield "NOTHING TO REMARK: every station and item wanted was heard."
        return
    more = f"; {len(rest)} more below" if rest else ""
    yield f"LOOK AT FIRST ({len(first)} remark{'s' if len(first) > 1 else ''}{more})"
    yield from _numbered(first, 1)


def _numbered(remarks: Sequence[Remark], start: int) -> Iterator[str]:
    for number, remark in enumerate(remarks, start):
        yield from _remark(remark, number)


def _remark(remark: Remark, number: int) -> Iterator[str]:
    mark = f"{number:2}. {_SEVERITIES[remark.severity]:4} "
    yield from wrap(remark.message, WIDTH, initial_indent=mark, subsequent_indent=" " * 9)
    if remark.say:
        words = f"Next time, {remark.say[0].lower()}{remark.say[1:]}"
        yield from wrap(words, WIDTH, initial_indent=" " * 9, subsequent_indent=" " * 9)
    yield from wrap(f"Source: {remark.source}", WIDTH, initial_indent=" " * 9, subsequent_indent=" " * 9)


def _values(computed: Sequence[Computed]) -> Iterator[str]:
    if computed:
        yield "COMPUTED"
    for value in computed:
        number = "not computed" if value.value is None else shown(value.value, value.unit)
        note = f" ({value.note})" if value.note else ""
        text = f"{value.label}: {number}{note}. {value.formula}. Source: {value.source}"
        yield from wrap(text, WIDTH, subsequent_indent="    ")


def _sources(record: Record, lexicon: Lexicon) -> Iterator[str]:
    """The full citation of every source named above, once."""
    lines = [*(remark.source for remark in record.remarks), *(value.source for value in record.computed)]
    named = citations(lexicon, lines)
    if named:
        yield "SOURCES"
    for key, citation in named:
        yield from wrap(f"{key}: {citation}", WIDTH, subsequent_indent="    ")
