"""What directions do: each is a function of the state of the run that changes it and answers.

Which words stand for which direction is data (``directions.yaml``). Whatever takes something away can be undone.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

from lexicon import Lexicon
from lexicon.schema import DirectionsFile
from listener.wording import in_words, title
from parser.audit.completeness import coverage
from parser.record import Entry, RecordEvidence
from parser.revising import Revision, change, put_back, revert, standing, withdraw

if TYPE_CHECKING:
    from listener.replay import State

#: done: a short tone; answer: to be read or spoken; refused: nothing was changed, and why.
Tone = Literal["done", "answer", "refused"]
_MOST_TOLD = 6


@dataclass(frozen=True, slots=True)
class Said:
    """A direction: by whom, when, in which words; ``before`` is its place in the text, ``start`` seconds of sound."""

    by: str
    at: str
    text: str
    utterance: int | None = None
    before: int | None = None
    start: float | None = None
    evidence: RecordEvidence | None = None

    def revision(self, kind: Literal["spoken", "page", "confirmation", "withdrawal"]) -> Revision:
        reason = f'said "{self.text}"' if self.by == "speaker" else self.text
        return Revision(kind, self.by, self.at or None, reason, self.evidence)


@dataclass(frozen=True, slots=True)
class Answer:
    text: str
    tone: Tone = "done"


def obey(state: State, name: str, said: Said) -> None:
    """Do what a direction asks, and tell the answer as an event. After the end only taking it back does anything."""
    if name not in _EFFECTS:
        return
    if state.finished and name not in ("undo", "go_on", "begin"):
        answer = Answer("The run has ended. Say: recorder, undo, to go on with it.", "refused")
    else:
        answer = _EFFECTS[name](state, said)
    state.out(
        "direction",
        {
            "id": name,
            "by": said.by,
            "text": said.text,
            "utterance": said.utterance,
            "start": said.start,
            "answer": answer.text,
            "tone": answer.tone,
        },
    )
    if name == "finish" and answer.tone == "done":
        state.out("ending", {"how": "finished", "by": said.by})


def request(state: State, body: Mapping[str, Any], at: str) -> None:
    """Do what the page or the terminal asks. What cannot be done is told as a refused direction and changes nothing."""
    name, by = str(body.get("id", "")), str(body.get("by", "page"))
    said = Said(by, at, str(body.get("text") or f"{name} on the {by}"), start=body.get("start"))
    if name == "end":
        state.end()
        if not state.finished:
            state.finished = True
            state.out("ending", {"how": str(body.get("how", "ended")), "by": by})
        return
    if name in _EFFECTS:
        if name in ("finish", "pause"):
            state.end()
        obey(state, name, said)
        return
    answer = _amend(state, name, body, said)
    if answer.tone == "refused":
        state.out(
            "direction",
            {
                "id": name,
                "by": by,
                "text": said.text,
                "utterance": None,
                "start": said.start,
                "answer": answer.text,
                "tone": answer.tone,
            },
        )


@lru_cache(maxsize=4)
def names_of(lexicon: Lexicon) -> tuple[str, ...]:
    """What the tool answers to."""
    file = lexicon.files["directions"]
    assert isinstance(file, DirectionsFile)
    return file.names


def _amend(state: State, name: str, body: Mapping[str, Any], said: Said) -> Answer:
    number, reason = _target(state, body), body.get("reason")
    if number is None:
        return Answer(f"There is no such entry in this run: {str(body.get('entry'))[:60]}.", "refused")
    why = str(reason)[:500] if reason else None
    try:
        if name == "amend":
            new = change(state.filing, number, _mapping(body.get("changes")), Revision("page", said.by, said.at, why))
            state.undoable.append(("change", (new.id,)))
        elif name == "confirm":
            new = change(state.filing, number, {}, Revision("confirmation", said.by, said.at, why))
            state.undoable.append(("change", (new.id,)))
        elif name == "withdraw_entry":
            withdraw(state.filing, number, Revision("withdrawal", said.by, said.at, why))
            state.undoable.append(("withdraw", (number,)))
        elif name == "restore":
            put_back(state.filing, number, Revision("page", said.by, said.at, why))
        elif name == "revert":
            revert(state.filing, number, Revision("page", said.by, said.at, why))
        else:
            return Answer(f"'{name[:40]}' cannot be asked of a run.", "refused")
    except ValueError as error:
        return Answer(str(error), "refused")
    return Answer("")


def _mapping(changes: Any) -> Mapping[str, Any]:
    if not isinstance(changes, dict):
        raise ValueError('Changes are given by name, such as {"status": "absent"}.')
    return changes


def _target(state: State, body: Mapping[str, Any]) -> str | None:
    """The entry a request names: by id where it is still what was meant, else by concept and place in the text.

    A run read anew with another lexicon may number its entries anew.
    """
    wanted, concept, chars = body.get("entry"), body.get("concept"), body.get("chars")
    named = [e for _, e in state.filing.entries if e.id == wanted]
    if named and (concept is None or (named[0].concept == concept and list(named[0].evidence.chars) == chars)):
        return named[0].id
    same = [e for _, e in standing(state.filing) if e.concept == concept and list(e.evidence.chars) == chars]
    return same[0].id if same else None


def _begin(state: State, said: Said) -> Answer:
    return _go_on(state, said) if state.finished or state.paused else Answer("Recording.")


def _pause(state: State, said: Said) -> Answer:
    state.paused = True
    return Answer("Paused. Nothing is filed until you say: recorder, go on.")


def _go_on(state: State, said: Said) -> Answer:
    if state.finished:
        return _reopen(state, said)
    state.paused = False
    return Answer("Going on.")


def _reopen(state: State, said: Said) -> Answer:
    state.reopen()
    state.out("resumption", {"why": "undone", "by": said.by})
    return Answer("Going on; the end was taken back.")


def _what_is_left(state: State, said: Said) -> Answer:
    covered = coverage(state.entries(), state.lexicon, state.head.checklist)
    missing = [title(region, state.lexicon) for region, (how, items) in covered.items() if how == "missing" and items]
    partial = [title(region, state.lexicon) for region, (how, items) in covered.items() if how == "partial"]
    if not missing and not partial:
        return Answer("Nothing is left.", "answer")
    parts = [
        f"Not begun: {_listed(missing)}." if missing else "",
        f"Not complete: {_listed(partial)}." if partial else "",
    ]
    return Answer(" ".join(part for part in parts if part), "answer")


def _listed(names: list[str]) -> str:
    more = len(names) - _MOST_TOLD
    return ", ".join(names[:_MOST_TOLD]) + (f" and {more} more" if more > 0 else "")


def _where_am_i(state: State, said: Said) -> Answer:
    region = state.situation.region
    if region is None:
        return Answer("No station was named yet.", "answer")
    _, items = coverage(state.entries(), state.lexicon, state.head.checklist).get(region, ("documented", ()))
    left = f" Left here: {'; '.join(items[:_MOST_TOLD])}." if items else " Nothing is left here."
    return Answer(f"{title(region, state.lexicon)}.{left}", "answer")


def _last(state: State, said: Said) -> Entry | None:
    """The last standing entry that was said before the direction."""
    return next(
        (e for _, e in standing(state.filing) if said.before is None or e.evidence.chars[0] < said.before), None
    )


def _read_back(state: State, said: Said) -> Answer:
    entry = _last(state, said)
    return Answer(in_words(entry) + "." if entry else "Nothing was filed yet.", "answer")


def _read_region(state: State, said: Said) -> Answer:
    region = state.situation.region
    here = [in_words(entry) for home, entry in state.entries() if home == region]
    if region is None or not here:
        return Answer("Nothing was filed here yet.", "answer")
    return Answer(f"{title(region, state.lexicon)}: {'; '.join(here)}.", "answer")


def _read_vitals(state: State, said: Said) -> Answer:
    said_so = [in_words(entry) for region, entry in state.entries() if region == "vital_signs" and entry.value]
    return Answer("; ".join(said_so) + "." if said_so else "No vital sign was filed yet.", "answer")


def _withdraw(state: State, said: Said) -> Answer:
    entry = _last(state, said)
    if entry is None:
        return Answer("There is nothing to take back.", "refused")
    withdraw(state.filing, entry.id, said.revision("withdrawal"))
    state.undoable.append(("withdraw", (entry.id,)))
    return Answer(f"Taken back: {in_words(entry)}.")


def _undo(state: State, said: Said) -> Answer:
    state.tell()
    if not state.undoable:
        return Answer("There is nothing to undo.", "refused")
    what, numbers = state.undoable[-1]
    if what == "finish":
        return _reopen(state, said)
    state.undoable.pop()
    bring = revert if what == "change" else put_back
    revision = said.revision("spoken" if said.by == "speaker" else "page")
    try:
        back = [bring(state.filing, number, revision) for number in numbers]
    except ValueError as error:
        return Answer(str(error), "refused")
    return Answer(f"Put back: {'; '.join(in_words(entry) for entry in back)}.")


def _mark(state: State, said: Said) -> Answer:
    entry = _last(state, said)
    mark = {"start": said.start, "utterance": said.utterance, "entry": entry.id if entry else None, "by": said.by}
    state.marks.append(mark)
    state.out("mark", mark)
    return Answer("Marked.")


def _repeat_region(state: State, said: Said) -> Answer:
    region = state.situation.region
    here = tuple(entry.id for home, entry in state.entries() if home == region)
    if region is None or not here:
        return Answer("Nothing was filed here yet.", "refused")
    for number in here:
        withdraw(state.filing, number, said.revision("withdrawal"))
    state.undoable.append(("repeat_region", here))
    return Answer(f"{title(region, state.lexicon)} again, from its beginning.")


def _doubtful(state: State, said: Said) -> Entry | None:
    return next(
        (
            e
            for _, e in standing(state.filing)
            if e.confirm and (said.before is None or e.evidence.chars[0] < said.before)
        ),
        None,
    )


def _confirm_yes(state: State, said: Said) -> Answer:
    entry = _doubtful(state, said)
    if entry is None:
        return Answer("Nothing waits to be confirmed.", "refused")
    change(state.filing, entry.id, {}, said.revision("confirmation"))
    return Answer(f"Confirmed: {in_words(entry)}.")


def _confirm_no(state: State, said: Said) -> Answer:
    entry = _doubtful(state, said)
    if entry is None:
        return Answer("Nothing waits to be confirmed.", "refused")
    withdraw(state.filing, entry.id, said.revision("withdrawal"))
    state.undoable.append(("confirm_no", (entry.id,)))
    return Answer(f"Taken back: {in_words(entry)}. Say it again.")


def _start_counting(state: State, said: Said) -> Answer:
    state.counting_from = said.start
    return Answer(
        "Counting." if said.start is not None else "Counting needs sound; there is none.",
        "done" if said.start is not None else "refused",
    )


def _stop_counting(state: State, said: Said) -> Answer:
    began, state.counting_from = state.counting_from, None
    if began is None or said.start is None:
        return Answer("Nothing was being counted.", "refused")
    return Answer(f"Counted for {said.start - began:.0f} seconds.", "answer")


def _finish(state: State, said: Said) -> Answer:
    state.finished = True
    state.undoable.append(("finish", ()))
    return Answer("The run has ended. Say: recorder, undo, to go on with it.")


def _help(state: State, said: Said) -> Answer:
    file = state.lexicon.files["directions"]
    assert isinstance(file, DirectionsFile)
    return Answer(
        f'Say "{file.names[0]}" and then what is wanted: ' + "; ".join(d.meaning for d in file.directions) + ".",
        "answer",
    )


_EFFECTS: dict[str, Callable[[State, Said], Answer]] = {
    "begin": _begin,
    "pause": _pause,
    "go_on": _go_on,
    "what_is_left": _what_is_left,
    "where_am_i": _where_am_i,
    "read_back": _read_back,
    "read_region": _read_region,
    "read_vitals": _read_vitals,
    "withdraw": _withdraw,
    "undo": _undo,
    "mark": _mark,
    "repeat_region": _repeat_region,
    "confirm_yes": _confirm_yes,
    "confirm_no": _confirm_no,
    "start_counting": _start_counting,
    "stop_counting": _stop_counting,
    "finish": _finish,
    "help": _help,
}
