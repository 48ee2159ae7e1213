"""Timing: findings that take time, against the quiet that the sound holds before them.

Silence is no proof that counting or listening went on, and talk is no proof that it did not: remarks say
what was seen and no more. Text carries no times; there only the words can tell.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence

from lexicon.schema.audit import Timing, TimingFile
from parser.audit.doubt import is_weak
from parser.audit.inspection import Inspection, quoted
from parser.lookup import STATED, Found
from parser.record import RecordWord, Remark

#: Share of the time taught that is taken as long enough: words begin and end late.
_ENOUGH = 0.9
#: A pause of this many seconds ends what is told in one breath.
_BREATH = 2.0
#: A word heard with less confidence, of which nothing was understood, may be noise.
_NOISE = 0.75
_NO_PROOF = "Silence is no proof that it was counted or listened to, nor talk that it was not."


def check(inspection: Inspection) -> Iterator[Remark]:
    """Findings said sooner than the time they take; one remark a rule."""
    rules = inspection.rules("timing", TimingFile)
    words = inspection.record.words
    starts = _markers(words, rules.starts)
    for rule in rules.timings:
        for found in inspection.lookup.find(rule.any, STATED):
            remark = _judge(inspection, rule, found, starts)
            if remark is not None:
                yield remark
                break


def _judge(inspection: Inspection, rule: Timing, found: Found, starts: Sequence[float]) -> Remark | None:
    said = inspection.lookup.said_near(found, rule.said)
    seen = seconds_seen(inspection, found, rule.seconds, starts)
    name = f"timing.{rule.id}"
    wanted = f"{rule.label} is taught over {span(rule.seconds)}"
    if seen is None:
        if said or rule.sound_only:
            return None
        return inspection.remark(name, rule, f"{quoted(found)}: {wanted}; no time was said.", [found])
    if seen >= rule.seconds * _ENOUGH:
        return None
    heard = f"the longest quiet before it is {seen:.0f} seconds"
    if said:
        message = f"{quoted(found)}: the time was said, but {heard}. {_NO_PROOF}"
        return inspection.remark(name, rule, message, [found], severity="note", factor=0.5)
    return inspection.remark(name, rule, f"{quoted(found)}: {wanted}; {heard}. {_NO_PROOF}", [found])


def seconds_seen(inspection: Inspection, found: Found, wanted: float, starts: Sequence[float]) -> float | None:
    """The longest quiet up to the end of a finding, or the time since counting was announced, in seconds.

    Quiet counts back to the finding before it; findings told in one breath share the quiet before them. Words that
    were heard weakly and came to nothing may be noise: they do not break it. None when the words carry no times.
    """
    start, words = found.start, inspection.record.words
    if start is None or found.end is None:
        return None
    first, last = found.entry.evidence.words
    claimed, longest = inspection.lookup.claimed, 0.0
    here = words[min(last, len(words) - 1)].start
    for n in range(min(last, len(words) - 1) - 1, -1, -1):
        if n not in claimed and is_weak(words[n], _NOISE, shortest=1):
            continue
        before = words[n].end
        if here is None or before is None or here < start - 1.5 * wanted:
            break
        longest = max(longest, here - before)
        if longest >= _BREATH and n < first and n in claimed:
            break
        here = words[n].start
    at = bisect_left(starts, start)
    since = start - starts[at - 1] if at else 0.0
    return max(longest, since if since <= 3 * wanted else 0.0)


def _markers(words: Sequence[RecordWord], phrases: Sequence[str]) -> list[float]:
    """Ends, in seconds, of every place where counting or listening was announced."""
    pieces: dict[str, list[list[str]]] = {}
    for phrase in phrases:
        pieces.setdefault(phrase.split()[0], []).append(phrase.split())
    heard = [word.text.lower() for word in words]
    ends = []
    for n, first in enumerate(heard):
        for piece in pieces.get(first, ()):
            if heard[n : n + len(piece)] == piece:
                end = words[n + len(piece) - 1].end
                if end is not None:
                    ends.append(end)
    return ends


def span(seconds: float) -> str:
    """Seconds in words: "30 seconds", "a full minute", "5 minutes"."""
    if seconds == 60:
        return "a full minute"
    return f"{seconds / 60:g} minutes" if seconds > 60 else f"{seconds:g} seconds"
