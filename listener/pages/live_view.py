"""What the live page is shown, as plain values: stations, what waits to be confirmed, and events in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from lexicon import Lexicon
from listener.archive.events import Event
from listener.directing import names_of
from listener.replay import State
from listener.wording import in_words, title
from parser.audit.checklists import checklist_file, wanted
from parser.audit.completeness import Station, stations
from parser.lookup import Lookup
from parser.record import Entry
from parser.revising import standing

#: A message to the page; ``t`` names its kind.
Message = dict[str, Any]

#: How many of the entries that wait to be confirmed are shown; the newest is the one that "yes" means.
WAITING_SHOWN = 4


@dataclass(frozen=True, slots=True)
class StationView:
    """A station of the strip. ``how``: documented, partial, missing, or unasked (the checklist wants nothing here)."""

    id: str
    title: str
    how: str
    heard: int
    wanted: int
    left: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the run is: every station, which one is current, what waits to be confirmed, how much is filed."""

    stations: tuple[StationView, ...]
    current: str | None
    waiting: tuple[Message, ...]
    waiting_in_all: int
    entries: int

    def changed(self, before: Progress | None) -> Message:
        """A message with what is new since ``before``: only the stations that differ."""
        known = set(before.stations) if before is not None else set()
        return {
            "t": "progress",
            "stations": [asdict(station) for station in self.stations if station not in known],
            "current": self.current,
            "waiting": list(self.waiting),
            "waiting_in_all": self.waiting_in_all,
            "entries": self.entries,
        }


def progress_of(state: State) -> Progress:
    """How far a run is; linear in its entries."""
    want = wanted(state.lexicon, state.head.checklist)
    entries = state.entries()
    covered = stations(Lookup(entries, state.lexicon), want)
    order = (*want.stations, *(r for r in state.lexicon.region_order if r not in want.items))
    shown = order if want.ordered else tuple(r for r in state.lexicon.region_order if r in covered)
    doubtful = [(region, entry) for region, entry in standing(state.filing) if entry.confirm]
    return Progress(
        tuple(_station(covered[region], state.lexicon) for region in dict.fromkeys(shown)),
        state.situation.region,
        tuple(entry_view(region, entry, state.lexicon) for region, entry in doubtful[:WAITING_SHOWN]),
        len(doubtful),
        len(entries),
    )


def _station(station: Station, lexicon: Lexicon) -> StationView:
    unasked = not station.wanted and station.coverage == "missing"
    return StationView(
        station.region,
        title(station.region, lexicon),
        "unasked" if unasked else station.coverage,
        station.wanted - len(station.absent),
        station.wanted,
        station.missing,
    )


def entry_view(region: str, entry: Entry, lexicon: Lexicon) -> Message:
    return {
        "id": entry.id,
        "region": region,
        "station": title(region, lexicon),
        "words": in_words(entry),
        "confirm": entry.confirm,
        "heard": entry.evidence.text,
        "utterance": entry.evidence.utterance,
    }


def standing_of(state: State) -> Message:
    """Whether the run listens, is paused or has ended, and since when something is counted (seconds of sound)."""
    return {"t": "standing", "paused": state.paused, "finished": state.finished, "counting": state.counting_from}


def told(event: Event, lexicon: Lexicon) -> Message | None:
    """An event as the page shows it; None for what needs no showing."""
    body = event.body
    if event.kind == "utterance":
        words = body["words"]
        start = words[0][2] if words else None
        return {"t": "said", "utterance": body["number"], "text": body["text"], "start": start,
                "to_us": str(body["text"]).lower().startswith(names_of(lexicon))}
    if event.kind == "statement":
        entry = Entry.model_validate(body["entry"])
        return {"t": "filed", **entry_view(str(body["region"]), entry, lexicon)}
    if event.kind in ("amendment", "confirmation"):
        how = "confirmed" if event.kind == "confirmation" else "replaced" if body["entry"] else "taken back"
        return {"t": "changed", "id": body["supersedes"], "by": body["entry"], "how": how}
    if event.kind == "direction":
        return {"t": "answer", "number": event.number, "id": body["id"], "text": body["answer"], "tone": body["tone"]}
    if event.kind in ("remark", "resumption") and body.get("text"):
        return {"t": "remark", "text": body["text"]}
    return None


def checklists(lexicon: Lexicon) -> Iterator[Mapping[str, str]]:
    """The checklists that can be chosen: id and title."""
    for entry in checklist_file(lexicon).lists:
        yield {"id": entry.id, "title": entry.title}


def shown_again(events: Iterable[Event], lexicon: Lexicon) -> Iterator[Message]:
    """What the page was shown of a run, from its events."""
    for event in events:
        message = told(event, lexicon)
        if message is not None:
            yield message
