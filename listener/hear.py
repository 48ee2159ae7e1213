"""A sound file, or a stream of raw sound -> a transcript: level, recogniser, words and remarks put together."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from listener.bars import Progress, silent
from listener.doubt import TOO_LOUD, Room
from listener.levels import Block, amplified, evened
from listener.model import ModelFolder
from listener.recognizer import Decoder, Recognizer, load_model
from listener.settings import STANDARD, Settings
from listener.sound import Sound, SoundFacts, open_sound
from listener.tidying import Dropped, Restore, Words, tidy
from parser.transcript import Transcript, transcript_of_words

_DOUBTFUL = 0.7
_ENOUGH_WORDS = 8


@dataclass(frozen=True, slots=True)
class Progressed:
    """So many seconds of the sound have been through a step, of how many (None: not known)."""

    step: str
    done_s: float
    total_s: float | None


@dataclass(frozen=True, slots=True)
class Heard:
    """A raw utterance, as the recogniser spells it."""

    words: Words


#: What hearing a file tells, in order: progress and utterances as they come, facts when they are complete.
Event = Progressed | Heard | SoundFacts


def hear_file(path: Path, folder: ModelFolder, *, settings: Settings = STANDARD, restore: Restore | None = None,
              progress: Progress = silent, isolate: bool = False) -> Transcript:
    """Hear a sound or video file.

    ``progress`` is told seconds. ``isolate``: decode and recognise in a child process, so that a file that
    crashes the libraries is an error. Silence gives an empty transcript with a remark; a file that breaks off
    gives what could be heard, with a remark. Raises :class:`SoundError`, :class:`ModelError`, :class:`HearingError`.
    """
    facts: SoundFacts | None = None
    dropped = Dropped()
    runs: list[Words] = []
    room = Room()
    for event in _source(path, folder, settings, isolate):
        if isinstance(event, Progressed):
            progress(f"{event.step} {path.name}", event.done_s, event.total_s)
        elif isinstance(event, SoundFacts):
            facts = event
        else:
            runs.append(room.take(tidy(event.words, dropped, restore, settings)))
    assert facts is not None
    transcript = transcript_of_words(runs, path.name, facts.duration_s)
    loud = (TOO_LOUD,) if room.loud else ()
    return replace(transcript, remarks=(*folder.remarks, *facts.remarks, *loud, *_remarks(transcript, facts)))


def hear_stream(sound: Sound, folder: ModelFolder, *, settings: Settings = STANDARD, restore: Restore | None = None,
                partial: Callable[[str], None] | None = None) -> Iterator[Words]:
    """The utterances of sound that is still coming in, such as :class:`listener.sound.RawSound`, as they end."""
    yield from Recognizer(folder, settings, restore).utterances(evened(sound.blocks()), partial)


def events(path: Path, folder: ModelFolder, settings: Settings = STANDARD) -> Iterator[Event]:
    """Hear a file, told event by event. The level is measured first, in a pass of its own, where that is possible."""
    with open_sound(path) as sound:
        stated = sound.stated_s
        if not sound.repeatable:
            yield from _decoded(evened(sound.blocks()), folder, settings, None)
            yield sound.facts()
            return
        done = 0
        for number, block in enumerate(sound.blocks()):
            done += len(block)
            if number % 256 == 0:
                yield Progressed("measuring", done / 16000, stated)
        facts = sound.facts()
    if not facts.silent:
        with open_sound(path) as sound:
            louder = (amplified(block, facts.gain) for block in sound.blocks())
            yield from _decoded(louder, folder, settings, facts.duration_s)
    yield facts


def _decoded(blocks: Iterable[Block], folder: ModelFolder, settings: Settings,
             total_s: float | None) -> Iterator[Event]:
    decoder = Decoder(load_model(folder, settings), settings)
    for block in blocks:
        for words in decoder.accept(block):
            yield Heard(words)
        yield Progressed("hearing", decoder.seconds, total_s)
    for words in decoder.finish():
        yield Heard(words)


def _source(path: Path, folder: ModelFolder, settings: Settings, isolate: bool) -> Iterator[Event]:
    if not isolate:
        return events(path, folder, settings)
    from listener.isolation import events_in_child

    return events_in_child(path, folder, settings)


def _remarks(transcript: Transcript, facts: SoundFacts) -> Iterator[str]:
    words = transcript.words
    if not words and not facts.silent:
        yield "No words were recognised in the sound."
    sure = [word.confidence for word in words if word.confidence is not None]
    if len(sure) >= _ENOUGH_WORDS and sum(sure) / len(sure) < _DOUBTFUL:
        yield ("Most words were heard with little confidence: the speech may not be English, or the sound too noisy. "
               "Check every line.")
