"""Answers spoken by a voice made on this machine: the program espeak-ng, where the system has it.

It is run as a program of its own and never linked: its licence (GPL-3.0 or later) is not ours.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from functools import lru_cache

_LONGEST = 1200
_TIMEOUT_S = 10.0
_WORDS_A_MINUTE = 165

#: What is written short and said in full.
_SAID: tuple[tuple[re.Pattern[str], str], ...] = tuple(
    (re.compile(pattern), said)
    for pattern, said in (
        (r"(\d)\s*/\s*(\d)", r"\1 over \2"),
        (r"(\d)\s*\+", r"\1 plus"),
        (r"\bmmHg\b", "millimeters of mercury"),
        (r"°C", " degrees Celsius"),
        (r"°F", " degrees Fahrenheit"),
        (r"%", " percent"),
        (r"<\s*", "less than "),
        (r">\s*", "more than "),
        (r"\bx(\d)", r"times \1"),
    )
)


def can_speak() -> bool:
    return _program() is not None


def spoken_form(text: str) -> str:
    """A text with what is written short said in full: "118/76 mmHg" is "118 over 76 millimeters of mercury"."""
    for pattern, said in _SAID:
        text = pattern.sub(said, text)
    return " ".join(text.split())[:_LONGEST]


def speak(text: str) -> bytes | None:
    """The text as a WAV file; None where this machine has no voice or it fails."""
    program = _program()
    if program is None or not text.strip():
        return None
    command = [program, "-v", "en-us", "-s", str(_WORDS_A_MINUTE), "--stdin", "--stdout"]
    try:
        done = subprocess.run(
            command, input=spoken_form(text).encode(), capture_output=True, timeout=_TIMEOUT_S, check=True
        )
    except (OSError, subprocess.SubprocessError):
        return None
    return _measured(done.stdout)


def _measured(wav: bytes) -> bytes | None:
    """The file with its true lengths in the head: written to a pipe, they were not known there."""
    at = wav.find(b"data", 12)
    if not wav.startswith(b"RIFF") or at < 0:
        return None
    head = wav[:4] + (len(wav) - 8).to_bytes(4, "little") + wav[8 : at + 4]
    return head + (len(wav) - at - 8).to_bytes(4, "little") + wav[at + 8 :]


@lru_cache(maxsize=1)
def _program() -> str | None:
    return shutil.which("espeak-ng") or shutil.which("espeak")
