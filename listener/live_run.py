"""Puts a live run in the terminal together: archive, lexicon, ears, source of sound, session and view."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from lexicon import Lexicon
from listener.archive import Archive, open_archive
from listener.errors import UsageError
from listener.levels import Block
from listener.runs import Options, lexicon_of, prepare_ears
from listener.session import Listen, Session
from listener.terminal import farewell, listen, read, shown
from parser.record import ModelInfo


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the command line asks of a live run in the terminal."""

    words: bool = False
    piped: bool = False
    run: str | None = None
    rate: int = 16000
    device: str | None = None
    model: Path | None = None
    packs: tuple[str, ...] = ()
    checklist: str = "complete"
    stock: bool = False
    archive: str | None = None
    learner: str | None = None


def practise(wishes: Wishes) -> None:
    """A live run from its beginning, or from where it was left, to its end."""
    if not wishes.piped and not wishes.words and sys.stdin is not None and not sys.stdin.isatty():
        raise UsageError("Standard input is no terminal. To take raw sound from it, write: crownsole live --terminal -")
    with open_archive(wishes.archive) as archive:
        head = archive.run(wishes.run).head if wishes.run else None
        options = Options(head.packs, head.checklist) if head else Options(wishes.packs, wishes.checklist)
        lexicon = lexicon_of(options)
        ears, info = (None, None) if wishes.words else _ears(wishes, options)
        session = _session(archive, wishes, lexicon, ears, info)
        with shown(session, sys.stdout):
            if wishes.words:
                read(session, sys.stdin)
            else:
                listen(session, _sound(wishes))
        print(farewell(session), file=sys.stderr)


def _session(
    archive: Archive, wishes: Wishes, lexicon: Lexicon, ears: Listen | None, info: ModelInfo | None
) -> Session:
    if wishes.run:
        return Session.go_on(archive, archive.run(wishes.run).id, lexicon, ears)
    source = "typed words" if wishes.words else "standard input" if wishes.piped else "microphone"
    return Session.begin(archive, lexicon, source, ears, checklist=wishes.checklist, model=info, learner=wishes.learner)


def _ears(wishes: Wishes, options: Options) -> tuple[Listen, ModelInfo]:
    from listener.bars import bar
    from listener.recognizer import Recognizer

    with bar() as progress:
        ears = prepare_ears(wishes.model, options, stock=wishes.stock, progress=progress)
    return Recognizer(ears.folder, restore=ears.restore).stream, ears.info


def _sound(wishes: Wishes) -> Iterable[Block]:
    if wishes.piped:
        from listener.sound import RawSound

        return RawSound(sys.stdin.buffer, wishes.rate).blocks()
    from listener.microphone import Microphone

    return Microphone(wishes.device).blocks()
