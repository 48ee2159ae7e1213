"""Marks to confirm: values and sides on weak evidence, told in one remark however many they are."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from lexicon.schema.scores import RangesFile
from parser.audit.inspection import Inspection, quoted
from parser.record import Remark

_MOST_QUOTED = 5


def check(inspection: Inspection, asked: Collection[str] = ()) -> Iterator[Remark]:
    """One remark for all entries with a mark that no one has confirmed yet, but those ``asked`` about elsewhere."""
    rule = inspection.rules("ranges", RangesFile).confirm
    settled = {*inspection.confirmed, *asked}
    doubtful = [f for f in inspection.lookup.found if f.entry.confirm and f.entry.id not in settled]
    if rule is None or not doubtful:
        return
    quotes = [f"{quoted(found)}: {found.entry.confirm}" for found in doubtful[:_MOST_QUOTED]]
    more = len(doubtful) - _MOST_QUOTED
    rest = f"; and {more} more" if more > 0 else ""
    count = "One entry is" if len(doubtful) == 1 else f"{len(doubtful)} entries are"
    yield inspection.remark("confirm", rule, f"{count} marked to confirm: {'; '.join(quotes)}{rest}.", doubtful)
