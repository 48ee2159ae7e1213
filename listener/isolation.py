"""Hearing in a child process, so that a crash in a decoder or recogniser is an error and not the end.

Run as ``python -m listener.isolation``: ``prove FOLDER`` loads a model; ``hear`` takes a job as JSON on standard
input and writes one event a line (see :mod:`listener.hear`) to standard output.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

from listener.errors import CrownsoleError, HearingError, ModelError, SoundError
from listener.hear import Event, Heard, Progressed, events
from listener.model import ModelFolder
from listener.settings import Settings
from listener.sound import SoundFacts
from parser.transcript import Word

_ERRORS = {kind.exit_code: kind for kind in (SoundError, ModelError, HearingError)}


def events_in_child(path: Path, folder: ModelFolder, settings: Settings) -> Iterator[Event]:
    """The events of :func:`listener.hear.events`, from a process of their own.

    Raises what they raise, and :class:`HearingError` when the process dies.
    """
    job = {"path": str(path), "settings": [settings.lattice_beam, settings.longest_s, settings.refresh_s],
           "folder": [str(folder.path), folder.name, folder.stock, folder.fingerprint, folder.replaceable]}
    command = [sys.executable, "-m", "listener.isolation", "hear"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as child:
        assert child.stdin is not None
        assert child.stdout is not None
        try:
            child.stdin.write(json.dumps(job).encode())
            child.stdin.close()
            for line in child.stdout:
                yield _event(json.loads(line))
            if child.wait():
                raise HearingError(f"The recogniser crashed on {path}; the file may be damaged.")
        except BaseException:
            child.kill()
            raise


def _event(said: dict[str, Any]) -> Event:
    ((kind, values),) = said.items()
    if kind == "error":
        code, message = values
        raise _ERRORS.get(code, HearingError)(message)
    if kind == "facts":
        return SoundFacts(*values)
    if kind == "progressed":
        return Progressed(*values)
    return Heard(tuple(Word(text, text, start, end, sure) for text, start, end, sure in values))


def _line(event: Event) -> dict[str, Any]:
    if isinstance(event, SoundFacts):
        return {"facts": list(asdict(event).values())}
    if isinstance(event, Progressed):
        return {"progressed": [event.step, event.done_s, event.total_s]}
    return {"heard": [[word.text, word.start, word.end, word.confidence] for word in event.words]}


def _hear() -> int:
    job = json.loads(sys.stdin.buffer.read())
    place, *rest = job["folder"]
    folder = ModelFolder(Path(place), *rest)
    try:
        for event in events(Path(job["path"]), folder, Settings(*job["settings"])):
            print(json.dumps(_line(event)), flush=True)
    except CrownsoleError as error:
        print(json.dumps({"error": [error.exit_code, str(error)]}), flush=True)
    return 0


def _prove(folder: Path) -> int:
    from listener.recognizer import open_model, try_out

    try:
        try_out(open_model(folder))
    except CrownsoleError as error:
        print(error)
        return ModelError.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(_prove(Path(sys.argv[2])) if sys.argv[1] == "prove" else _hear())
