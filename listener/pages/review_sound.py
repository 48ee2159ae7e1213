"""The sound of a run, or of a part of it, as a WAV file of which a browser asks any range of bytes.

The file is never made whole: a range is put together from the segments that hold its samples.
"""

from __future__ import annotations

import math
import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass

from starlette.responses import Response, StreamingResponse

from listener.archive import Archive
from listener.archive.flac import decoded
from listener.errors import InputError
from listener.sound import RATE

_HEAD = 44
_MOST = 0xFFFFFFFF - _HEAD
_RANGE = re.compile(r"bytes=(\d{0,15})-(\d{0,15})")


@dataclass(frozen=True, slots=True)
class Clip:
    """Samples ``[first, last)`` of a run at 16 kHz."""

    run: str
    first: int
    last: int

    @property
    def size(self) -> int:
        """Bytes of the WAV file."""
        return _HEAD + 2 * (self.last - self.first)

    @property
    def head(self) -> bytes:
        """RIFF header of 16-bit mono PCM (Multimedia Programming Interface and Data Specifications 1.0, 1991)."""
        data = self.size - _HEAD
        form = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 1, RATE, 2 * RATE, 2, 16)
        return struct.pack("<4sI4s", b"RIFF", self.size - 8, b"WAVE") + form + struct.pack("<4sI", b"data", data)


def clip(run: str, seconds: float, start: str | None, end: str | None) -> Clip:
    """The part of a run of so many ``seconds`` between two times as written in an address; all of it without them.

    Raises :class:`InputError` for what are no times of the run, and for a run without sound.
    """
    total = min(round(seconds * RATE), _MOST // 2)
    if not total:
        raise InputError("This run has no sound.")
    first = 0 if start is None else round(_seconds(start) * RATE)
    last = total if end is None else min(round(_seconds(end) * RATE), total)
    if not 0 <= first < last:
        raise InputError("There is no sound at these times of the run.")
    return Clip(run, first, last)


def answer(archive: Archive, wanted: Clip, asked: str | None) -> Response:
    """The WAV file of a clip; ``asked`` is the Range header (RFC 9110 section 14), of which one range is served."""
    headers = {"accept-ranges": "bytes", "content-type": "audio/wav"}
    part = _part(asked, wanted.size) if asked is not None else None
    if part == ():
        return Response(status_code=416, headers={"content-range": f"bytes */{wanted.size}"})
    start, end = part or (0, wanted.size)
    headers["content-length"] = str(end - start)
    if part:
        headers["content-range"] = f"bytes {start}-{end - 1}/{wanted.size}"
    return StreamingResponse(content(archive, wanted, start, end), 206 if part else 200, headers)


def content(archive: Archive, wanted: Clip, start: int, end: int) -> Iterator[bytes]:
    """Bytes ``[start, end)`` of the WAV file of a clip."""
    if start < _HEAD:
        yield wanted.head[start:end]
    left = end - max(start, _HEAD)
    if left <= 0:
        return
    at = max(start - _HEAD, 0)
    sample = wanted.first + at // 2
    skip = at % 2
    for segment in archive.segments(wanted.run, archive.segment_at(wanted.run, sample)):
        block = decoded(segment.data)[max(sample - segment.start, 0) :]
        data = block.astype("<i2").tobytes()[skip : skip + left]
        skip = 0
        left -= len(data)
        yield data
        if left <= 0:
            return


def _seconds(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError("There is no sound at these times of the run.")
    return value


def _part(asked: str, size: int) -> tuple[int, int] | tuple[()] | None:
    """First byte and the one after the last; empty when it cannot be satisfied; None when all is to be sent."""
    match = _RANGE.fullmatch(asked.strip())
    if match is None or not any(match.groups()):
        return None
    first, last = match.groups()
    if not first:
        return (max(size - int(last), 0), size) if int(last) else ()
    start, end = int(first), min(int(last) + 1 if last else size, size)
    return (start, end) if start < end else ()
