"""Live runs to test with: started with typed words, spoken words with times, what stands in them."""

from __future__ import annotations

from lexicon import load
from listener.archive import Archive
from listener.session import Session
from parser.transcript import Word

LEXICON = load()

PRESSURE, BRUIT = ("blood_pressure", "present", "128/82"), ("bruit", "absent", None)
CLEAR = ("breath_sounds_clear", "present", None)
SAID = "blood pressure one twenty eight over eighty two\nno carotid bruits bilaterally\n"


def started(archive: Archive, said: str = "") -> Session:
    session = Session.begin(archive, LEXICON, "a test")
    session.type(said)
    return session


def standing(session: Session) -> list[tuple[str, str, str | None]]:
    """Concept, status and value of every entry that stands, in the order of first filing."""
    entries = sorted(
        (e.evidence.chars, e.concept, e.status, e.value and e.value.text) for _, e in session.state.entries()
    )
    return [entry[1:] for entry in entries]


def answers(session: Session) -> list[tuple[str, str, str]]:
    events = session.writer.archive.events(session.id)
    return [(e.body["id"], e.body["tone"], e.body["answer"]) for e in events if e.kind == "direction"]


def spoken(text: str, start: float, pause_before: dict[int, float] | None = None) -> list[Word]:
    words = []
    for number, word in enumerate(text.split()):
        start += (pause_before or {}).get(number, 0.0)
        words.append(Word(word, word, start, start + 0.25, 1.0))
        start += 0.3
    return words
