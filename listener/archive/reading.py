"""The record of a run in the archive: as it was filed, or read anew from its words; and whether all of it is intact."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from lexicon import Lexicon
from listener.archive.events import INPUTS, Event, Head
from listener.archive.flac import decoded
from listener.archive.store import Archive
from listener.archive.summaries import file
from listener.errors import SoundError, StorageError
from listener.levels import Block
from listener.wording import in_words, title
from parser.record import Record


def filed_record(archive: Archive, run: str) -> Record | None:
    """The record as it was last filed; None when the run broke off or took words or changes since."""
    filed: Event | None = None
    for event in archive.events(run):
        if event.kind == "filed":
            filed = event
        elif event.kind in INPUTS:
            filed = None
    if filed is None:
        return None
    try:
        return Record.model_validate_json(filed.body["record"])
    except (KeyError, ValueError):
        raise StorageError(
            f"The record of run {run} was filed by another version. Read it anew with --again."
        ) from None


def read_again(archive: Archive, run: str, lexicon: Lexicon) -> Record:
    """The record of a run from its words and the changes made to it, with the lexicon of now."""
    from listener.replay import replayed

    info = archive.run(run)
    head = replace(info.head, packs=lexicon.packs)
    state, _ = replayed(head, lexicon, archive.events(info.id))
    return state.record(info.seconds or None)


def differences(before: Record, after: Record, lexicon: Lexicon) -> Iterator[str]:
    """What a reading anew changes: "- " and "+ " lines, in the order of the stations."""
    old, new = _said(before), _said(after)
    order = {region: place for place, region in enumerate(lexicon.region_order)}

    def place(one: tuple[str, str, int]) -> tuple[int, int, bool]:
        return order.get(one[0], len(order)), one[2], one in new

    for region, words, number in sorted({**old, **new}, key=place):
        if (region, words, number) not in new:
            yield f"- {title(region, lexicon)}: {words}"
        elif (region, words, number) not in old:
            yield f"+ {title(region, lexicon)}: {words}"


def _said(record: Record) -> dict[tuple[str, str, int], None]:
    """The standing entries: station, words, place in the text."""
    return {
        (region.region, in_words(entry), entry.evidence.chars[0]): None
        for region in record.regions
        for entry in region.entries
        if entry.superseded_by is None
    }


def file_again(archive: Archive, run: str, record: Record) -> None:
    """Take a record as the one that is filed. The ones filed before stay in the archive."""
    with archive.resume(run) as writer:
        file(writer, record, record.run.lexicon.version)


def sound_of(archive: Archive, run: str) -> Iterator[Block]:
    """The sound of a run: int16 mono at 16 kHz, in order. Raises :class:`SoundError`."""
    return (decoded(segment.data) for segment in archive.segments(run))


def faults(archive: Archive, run: str) -> Iterator[str]:
    """What is not as it was written: every hash of the run is computed anew, and its sound decoded."""
    head = archive.run(run).head
    sound: dict[int, object] = {}
    yield from chain_faults(head, archive.events(run), sound)
    number = 0
    for number, segment in enumerate(archive.segments(run), 1):
        stated = sound.pop(segment.number, None)
        if stated != (segment.start, segment.samples, segment.sha256):
            yield f"sound {number} is not what its event tells"
        yield from sound_faults(number, segment.data, segment.samples, segment.sha256)
    if sound:
        yield f"{len(sound)} pieces of sound are gone"


def chain_faults(head: Head, events: Iterator[Event], sound: dict[int, object]) -> Iterator[str]:
    """Events that do not follow from the ones before; fills ``sound`` with what the events tell of segments."""
    previous = head.hash
    for number, event in enumerate(events, 1):
        if event.number != number or event.hash != event.chained(previous):
            yield f"event {number} was changed, or one before it is gone"
            return
        previous = event.hash
        if event.kind == "sound":
            sound[int(event.body["segment"])] = (event.body["start"], event.body["samples"], event.body["sha256"])


def sound_faults(number: int, data: bytes, samples: int, sha256: str) -> Iterator[str]:
    from listener.archive.events import digest

    if digest(data) != sha256:
        yield f"sound {number} was changed"
        return
    try:
        if len(decoded(data)) != samples:
            yield f"sound {number} is not as long as stated"
    except SoundError:
        yield f"sound {number} cannot be decoded"
