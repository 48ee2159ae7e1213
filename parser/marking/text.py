"""A marking as text and as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from textwrap import wrap

from parser.audit.inspection import clock
from parser.debrief import CAUTION as AID
from parser.debrief import WIDTH
from parser.marking.agreement import CATEGORIES, Agreement
from parser.marking.model import Mark, Marking, Outcome, StationMarks, Total
from parser.note.table import safe
from parser.record import RecordEvidence

_SIGNS: dict[Outcome, str] = {"met": "[x]", "part": "[~]", "not_met": "[ ]", "not_due": " - ", "deferred": " - "}
_IN = " " * 17
COLUMNS = (
    "run", "source", "rubric", "rubric_version", "station", "step", "label", "critical", "outcome", "points",
    "possible", "given", "reason", "by", "at", "why", "held", "confirm", "entries", "words", "start", "end",
)  # fmt: skip


def as_text(marking: Marking) -> str:
    """Lines of at most 88 characters: what is proposed and why, the critical steps, every step with its evidence."""
    parts = [list(_head(marking)), list(_critical(marking))]
    parts += [list(_station(station)) for station in marking.stations]
    parts += [list(_given(marking)), [f"- {notice}" for notice in marking.notices]]
    parts.append([*wrap(f"{marking.caution} Rubric: {marking.rubric.source}.", WIDTH), *wrap(AID, WIDTH)])
    return "\n\n".join("\n".join(lines) for lines in parts if lines) + "\n"


def _head(marking: Marking) -> Iterator[str]:
    yield from wrap(f"MARKS of {marking.source}, by the rubric {marking.rubric.title}", WIDTH)
    yield from _total("Proposed", marking.total)
    if marking.standing != marking.total:
        yield from _total("With the points given", marking.standing)
    if marking.settled:
        yield f"Settled by {marking.settled.by}, {marking.settled.at[:16].replace('T', ' ')} UTC."


def _total(name: str, total: Total) -> Iterator[str]:
    yield f"{name}: {total.proposal.upper()}"
    for reason in total.reasons:
        yield from wrap(reason, WIDTH, initial_indent="  ", subsequent_indent="  ")


def _critical(marking: Marking) -> Iterator[str]:
    critical = [mark for mark in marking.marks().values() if mark.critical]
    if critical:
        yield "CRITICAL STEPS"
    for mark in critical:
        met = "met" if mark.step in marking.standing.critical_met else "not met"
        told = quoted(mark.shown[0].evidence) if mark.shown else mark.why
        if mark.given:
            told += f"; {mark.given.by} gave {mark.given.points:g} of {mark.possible:g}"
        yield from wrap(f"  {met:7}  {mark.label}: {told}", WIDTH, subsequent_indent=" " * 11)


def _station(station: StationMarks) -> Iterator[str]:
    yield f"{station.title.upper()}: {station.points:g} of {station.possible:g}"
    for mark in station.marks:
        yield from _mark(mark)


def _mark(mark: Mark) -> Iterator[str]:
    points = f"{mark.points:g} of {mark.possible:g}"
    quotes = ", ".join(quoted(one.evidence) for one in mark.shown[:2])
    more = f" and {len(mark.shown) - 2} more" if len(mark.shown) > 2 else ""
    told = f": {quotes}{more}" if quotes else f": {mark.why}"
    yield from wrap(
        f"{_SIGNS[mark.outcome]} {points:>11}  {mark.label}{told}", WIDTH, subsequent_indent=_IN, drop_whitespace=True
    )
    if quotes and mark.outcome != "met":
        yield from _under(f"{mark.why[0].upper()}{mark.why[1:]}.")
    for held in mark.held:
        yield from _under(f"{held.rule}: {held.message}")
    for reason in mark.confirm:
        yield from _under(f"Confirm: {reason}")
    if mark.say:
        yield from _under(f"Say: “{mark.say}”")
    if mark.given:
        yield from _under(f"{mark.given.by} gave {mark.given.points:g}: {mark.given.reason}")


def _under(text: str) -> list[str]:
    return wrap(text, WIDTH, initial_indent=_IN, subsequent_indent=_IN)


def _given(marking: Marking) -> Iterator[str]:
    """Every change by a person, the earlier ones too."""
    changed = [mark for mark in marking.marks().values() if mark.given]
    if changed:
        yield "POINTS GIVEN BY A PERSON"
    for mark in changed:
        for one in (*mark.before, *([mark.given] if mark.given else [])):
            who = f"{one.points:g} given by {one.by} ({one.at[:10]})"
            line = f"{mark.step}: {one.proposed:g} proposed, {who}: {one.reason}"
            yield from wrap(line, WIDTH, initial_indent="  ", subsequent_indent="    ")


def quoted(evidence: RecordEvidence) -> str:
    """The words of an entry and where they were said."""
    where = f"at {clock(evidence.start)}" if evidence.start is not None else f"line {evidence.utterance}"
    return f"“{evidence.text}” ({where})"


def as_csv(markings: Sequence[Marking]) -> str:
    """One step a line under a heading line; RFC 4180, safe to open in a spreadsheet."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for marking in markings:
        for station in marking.stations:
            for mark in station.marks:
                writer.writerow([safe(cell) for cell in _cells(marking, station, mark)])
    return out.getvalue()


def _cells(marking: Marking, station: StationMarks, mark: Mark) -> tuple[str, ...]:
    given = mark.given
    first, last = (mark.shown[0].evidence, mark.shown[-1].evidence) if mark.shown else (None, None)
    return (
        marking.run, marking.source, marking.rubric.id, marking.rubric.version, station.region, mark.step, mark.label,
        "yes" if mark.critical else "no", mark.outcome, f"{mark.points:g}", f"{mark.possible:g}",
        f"{given.points:g}" if given else "", given.reason if given else "", given.by if given else "",
        given.at if given else "", mark.why, "; ".join(held.rule for held in mark.held), "; ".join(mark.confirm),
        " ".join(one.entry for one in mark.shown), "; ".join(one.evidence.text for one in mark.shown),
        clock(first.start) if first and first.start is not None else "",
        clock(last.end) if last and last.end is not None else "",
    )  # fmt: skip


def agreement_text(found: Agreement) -> str:
    """Agreement in words, with the table it comes from."""
    if not found.pairs:
        return (
            "No step was marked by both the tool and a person yet. Give points with `crownsole mark change`, and say\n"
            "with `crownsole mark settle` that the others stand.\n"
        )
    lines = [
        f"{found.pairs} step{_s(found.pairs)} of {found.runs} run{_s(found.runs)} marked by the tool and by a person.",
        f"Equal: {100 * (found.observed or 0):.1f} percent.",
        f"Cohen's kappa: {_kappa(found.kappa)}; with part credit weighed (linear): {_kappa(found.weighted)}.",
        "",
        f"{'tool / person':>14}" + "".join(f"{name:>8}" for name in CATEGORIES),
    ]
    lines += [
        f"{name:>14}" + "".join(f"{n:8}" for n in row) for name, row in zip(CATEGORIES, found.table, strict=True)
    ]
    if found.differing:
        lines += ["", "Most often unlike: " + "; ".join(f"{label} ({n} of {of})" for label, n, of in found.differing)]
    seen = found.pairs - found.apart
    if seen:
        lines += ["", f"{seen} of these were given with the proposal in view, which makes agreement look better."]
    return "\n".join(line for text in lines for line in (wrap(text, WIDTH) if len(text) > WIDTH else [text])) + "\n"


def _s(number: int) -> str:
    return "" if number == 1 else "s"


def _kappa(value: float | None) -> str:
    return "not defined, as all marks are alike" if value is None else f"{value:.2f}"
