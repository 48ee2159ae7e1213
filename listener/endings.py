"""Does a sound file break off? Read from its own bookkeeping, since decoders take the end as it comes.

Sources: the RIFF/WAVE chunk layout; RFC 3533 (Ogg pages, end-of-stream flag); the Xing, Info and VBRI
frames of MPEG audio (common practice).
"""

from __future__ import annotations

import os
import struct
from typing import BinaryIO

#: Containers whose header states a duration that does not depend on the length of the file.
_STATED = frozenset({
    "flac", "mov,mp4,m4a,3gp,3g2,mj2", "matroska,webm", "aiff", "au", "caf", "asf", "avi", "flv", "w64",
})
_TAIL = 1 << 17
_UNKNOWN_SIZES = (0, 0x7FFFF000)  # what writers to a pipe leave: nothing, or anything from here up


def states_duration(stream: BinaryIO, container: str) -> bool:
    """Whether the duration the decoder names was written by the maker, not estimated from the length."""
    return container in _STATED or (container == "mp3" and _mp3_counts_frames(stream))


def wav_duration(stream: BinaryIO) -> float | None:
    """Seconds that a WAV header states, or None when it does not say."""
    stream.seek(0)
    head = stream.read(12)
    if len(head) < 12 or head[:4] != b"RIFF" or head[8:] != b"WAVE":
        return None
    bytes_a_second = 0
    for _ in range(64):
        chunk = stream.read(8)
        if len(chunk) < 8:
            return None
        name, size = chunk[:4], struct.unpack("<I", chunk[4:])[0]
        if name == b"data":
            known = _UNKNOWN_SIZES[0] < size < _UNKNOWN_SIZES[1]
            return size / bytes_a_second if bytes_a_second and known else None
        body = stream.read(16) if name == b"fmt " else b""
        if len(body) == 16:
            bytes_a_second = struct.unpack("<I", body[8:12])[0]
        stream.seek(size + (size & 1) - len(body), os.SEEK_CUR)
    return None


def ogg_breaks_off(stream: BinaryIO) -> bool:
    """Whether the last page of an Ogg file is incomplete or lacks the end-of-stream flag."""
    end = stream.seek(0, os.SEEK_END)
    stream.seek(max(0, end - _TAIL))
    tail = stream.read()
    at = tail.rfind(b"OggS")
    if at < 0:
        return True
    page = tail[at:]
    if len(page) < 27 or len(page) < 27 + page[26]:
        return True
    length = 27 + page[26] + sum(page[27 : 27 + page[26]])
    return len(page) < length or not page[5] & 4


def _mp3_counts_frames(stream: BinaryIO) -> bool:
    stream.seek(0)
    head = stream.read(10)
    start = 0
    if head[:3] == b"ID3" and len(head) == 10:
        start = 10 + (head[6] << 21 | head[7] << 14 | head[8] << 7 | head[9])
    stream.seek(start)
    frame = stream.read(4096)
    return any(mark in frame for mark in (b"Xing", b"Info", b"VBRI"))
