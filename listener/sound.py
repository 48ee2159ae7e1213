"""Sound files and streams -> blocks of 16 kHz mono 16-bit samples, and facts about them.

Nothing holds a whole file: blocks come one after another. What is wrong with an input is told in one
sentence (:class:`listener.errors.SoundError`); what is only poor is told as a remark, and the rest is kept.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, BinaryIO, Protocol, Self

import numpy as np

from listener.endings import ogg_breaks_off, states_duration, wav_duration
from listener.errors import SoundError
from listener.levels import Block, Loudness, gain_of

if TYPE_CHECKING:
    from av import AudioFrame, AudioStream, Packet
    from av.container import InputContainer

RATE = 16000
BLOCK = 4000
RAW_BLOCK = 1600

#: Containers read; playlists and others that open further files are left out.
FORMATS = ("wav,w64,mp3,aac,flac,ogg,matroska,webm,mov,mp4,m4a,3gp,3g2,mj2,aiff,au,caf,amr,asf,avi,mpegts,mpeg,flv,"
           "ac3,eac3,ape,wv,tta,voc,gsm,dts,mpc,mpc8,tak,amrnb,amrwb")

_SILENCE = 4 / 32768
_QUIET_GAIN = 50.0
_CLIPPED = 0.002
_GAP_S = 0.1
_LONGEST_GAP_S = 60.0


@dataclass(frozen=True, slots=True)
class SoundFacts:
    """What is known of a sound so far; complete once every block was taken.

    ``duration_s``: seconds decoded. ``stated_s``: seconds the file states, or None. ``level``: 99.9th percentile
    and ``peak``: maximum of the absolute value, 0..1 of full scale. ``clipped``: share of samples at a flat top
    (see :meth:`listener.levels.Loudness.clipped`). ``truncated``: the file breaks off. ``damaged``: packets that
    could not be decoded.
    """

    duration_s: float
    stated_s: float | None
    level: float
    peak: float
    clipped: float
    rate_hz: int
    channels: int
    codec: str
    truncated: bool = False
    damaged: int = 0

    @property
    def silent(self) -> bool:
        """Nothing but silence: under four steps of sixteen bits."""
        return self.level < _SILENCE

    @property
    def gain(self) -> float:
        """The gain that brings the sound to the level of the recogniser."""
        return 1.0 if self.silent else gain_of(self.level)

    @property
    def remarks(self) -> tuple[str, ...]:
        """Sentences a person should read, most weighty first."""
        found: list[str] = []
        if self.truncated:
            place = clock(self.duration_s) + (f" of the {clock(self.stated_s)} it states" if self.stated_s else "")
            found.append(f"The sound breaks off after {place}; what was heard up to there is kept.")
        elif self.damaged:
            found.append(f"The sound is damaged in {self.damaged} place(s), which were left out; words may be missing.")
        if self.silent:
            found.append("There is nothing but silence in the sound.")
        elif self.gain > _QUIET_GAIN:
            found.append(f"The sound is very quiet and was made {self.gain:.0f} times louder; words may be misheard.")
        if not self.silent and self.clipped > _CLIPPED:
            found.append("The sound is clipped (recorded too loud); words may be misheard. Turn the microphone down.")
        return tuple(found)


class Sound(Protocol):
    """A source of sound: take its blocks once, then ask for the facts."""

    name: str
    repeatable: bool

    def blocks(self) -> Iterator[Block]: ...

    def facts(self) -> SoundFacts: ...


class FileSound:
    """The first sound track of a file; a context manager. ``repeatable``: it can be opened again."""

    def __init__(self, path: Path) -> None:
        self.name = path.name
        self._path = path
        self._stream = _opened(path)
        self.repeatable = self._stream.seekable()
        try:
            self._text = _looks_like_text(self._stream) if self.repeatable else False
            self._container = self._open_container()
            self._track = self._find_track()
            self._stated_s, self._truncated = self._ending() if self.repeatable else (None, False)
        except BaseException:
            self._stream.close()
            raise
        self._loudness = Loudness()
        self._samples = self._damaged = 0
        self._reached_s = 0.0
        self._last_failed = False

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        self._container.close()
        self._stream.close()

    @property
    def stated_s(self) -> float | None:
        """Seconds the file states, known before anything is decoded; None when it does not say."""
        return self._stated_s

    def blocks(self) -> Iterator[Block]:
        """Arrays of int16, shape (BLOCK,), the last one shorter.

        Raises :class:`SoundError` if nothing can be decoded.
        """
        for block in _cut(self._pieces(), BLOCK):
            self._loudness.add(block)
            self._samples += len(block)
            yield block
        if not self._samples:
            raise SoundError(f"{self._path} has a sound track, but no sound in it could be decoded.")
        short = self._stated_s is not None and self._reached_s < self._stated_s - max(0.3, 0.002 * self._stated_s)
        self._truncated = self._truncated or short or self._last_failed

    def facts(self) -> SoundFacts:
        context = self._track.codec_context
        return SoundFacts(self._samples / RATE, self._stated_s, self._loudness.level, self._loudness.peak,
                          self._loudness.clipped, context.sample_rate, context.layout.nb_channels, context.name,
                          self._truncated, self._damaged)

    def _open_container(self) -> InputContainer:
        import av

        try:
            return av.open(self._stream, "r", options={"format_whitelist": FORMATS})
        except (av.error.FFmpegError, UnicodeDecodeError) as error:
            what = "is not a sound or video file we can decode, or it is cut off or damaged."
            if self._text:
                what = f"is text, not sound. To read a transcript: crownsole read {self.name}"
            raise SoundError(f"{self._path} {what}") from error

    def _find_track(self) -> AudioStream:
        tracks = self._container.streams.audio
        if not tracks:
            what = "a video without a sound track" if self._container.streams.video else "not a sound file"
            raise SoundError(f"{self._path} is {what}.")
        usable = [track for track in tracks if track.codec_context is not None and track.codec_context.sample_rate]
        if not usable:
            raise SoundError(f"The sound in {self._path} is of a kind that we cannot decode.")
        return usable[0]

    def _ending(self) -> tuple[float | None, bool]:
        container = self._container.format.name
        place = self._stream.tell()
        try:
            if container == "wav":
                return wav_duration(self._stream), False
            if container == "ogg":
                return None, ogg_breaks_off(self._stream)
            stated = states_duration(self._stream, container) and self._container.duration
            return (stated / 1_000_000 if stated else None), False
        finally:
            self._stream.seek(place)

    def _pieces(self) -> Iterator[Block]:
        """Resampled pieces of any length; gaps in the file's own time are filled with silence."""
        resampler = _Resampler()
        first: float | None = None
        done = 0
        for packet in self._packets():
            for frame in self._frames(packet):
                if frame.time is not None:
                    first = frame.time if first is None else first
                    gap = frame.time - first - done / RATE
                    if _GAP_S < gap < _LONGEST_GAP_S:
                        done += round(gap * RATE)
                        yield np.zeros(round(gap * RATE), dtype=np.int16)
                for piece in resampler.take(frame):
                    done += len(piece)
                    yield piece
        yield from resampler.rest()

    def _packets(self) -> Iterator[Packet[Any]]:
        import av

        start = (self._container.start_time or 0) / 1_000_000
        packets = self._container.demux()
        while True:
            try:
                packet = next(packets)
            except StopIteration:
                return
            except av.error.FFmpegError:
                self._truncated = True
                return
            if packet.pts is not None and packet.time_base is not None:
                end = float((packet.pts + (packet.duration or 0)) * packet.time_base) - start
                self._reached_s = max(self._reached_s, end)
            if packet.stream.index == self._track.index:
                yield packet

    def _frames(self, packet: Packet[Any]) -> list[AudioFrame]:
        import av

        try:
            frames: list[Any] = list(packet.decode())
        except av.error.EOFError:
            return []
        except av.error.FFmpegError:
            self._damaged += 1
            self._last_failed = True
            return []
        if packet.size:  # the packet that flushes the decoder is empty
            self._last_failed = False
        return frames


class RawSound:
    """Raw samples (16-bit little-endian mono at ``rate`` Hz) from a binary stream such as standard input."""

    repeatable = False

    def __init__(self, stream: BinaryIO, rate: int = RATE, name: str = "standard input") -> None:
        if not 4000 <= rate <= 384_000:
            raise SoundError(f"A sample rate of {rate} Hz cannot be right; raw sound comes at 8000 to 48000 Hz.")
        self.name = name
        self._stream = stream
        self._rate = rate
        self._loudness = Loudness()
        self._samples = 0
        self._odd = False

    def blocks(self) -> Iterator[Block]:
        """Arrays of int16, shape (RAW_BLOCK,), the last one shorter, as soon as the samples arrive."""
        pieces = self._pieces() if self._rate == RATE else self._resampled()
        for block in _cut(pieces, RAW_BLOCK):
            self._loudness.add(block)
            self._samples += len(block)
            yield block

    def facts(self) -> SoundFacts:
        return SoundFacts(self._samples / RATE, None, self._loudness.level, self._loudness.peak,
                          self._loudness.clipped, self._rate, 1, "pcm_s16le", self._odd)

    def _pieces(self) -> Iterator[Block]:
        read = getattr(self._stream, "read1", self._stream.read)
        rest = b""
        while data := read(2 * RAW_BLOCK):
            data = rest + data
            even = len(data) & ~1
            rest = data[even:]
            yield np.frombuffer(data[:even], dtype="<i2").astype(np.int16)
        self._odd = bool(rest)

    def _resampled(self) -> Iterator[Block]:
        import av

        resampler = _Resampler()
        for piece in self._pieces():
            if len(piece):
                frame = av.AudioFrame.from_ndarray(piece.reshape(1, -1), format="s16", layout="mono")
                frame.sample_rate = self._rate
                yield from resampler.take(frame)
        yield from resampler.rest()


def open_sound(path: Path | str) -> FileSound:
    """A sound or video file, to be used as a context manager. Raises :class:`SoundError` in one clear sentence."""
    return FileSound(Path(path))


def clock(seconds: float | None) -> str:
    """Seconds as people read a clock: ``3:07``; under a minute ``7.5 s``."""
    if seconds is None:
        return "an unknown time"
    return f"{seconds:.1f} s" if seconds < 60 else f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


class _Resampler:
    """Frames of any kind -> int16 at 16 kHz mono; starts anew when the kind changes within a file."""

    def __init__(self) -> None:
        self._kind: tuple[object, ...] = ()
        self._inner: Any = None

    def take(self, frame: AudioFrame) -> Iterator[Block]:
        import av

        kind = (frame.format.name, frame.layout.name, frame.sample_rate)
        if kind != self._kind:
            yield from self.rest()
            self._kind = kind
            self._inner = av.AudioResampler(format="s16", layout="mono", rate=RATE)
        frame.pts = None
        yield from _arrays(self._inner.resample(frame))

    def rest(self) -> Iterator[Block]:
        if self._inner is not None:
            yield from _arrays(self._inner.resample(None))
        self._inner = None
        self._kind = ()


def _arrays(frames: list[Any]) -> Iterator[Block]:
    for frame in frames:
        yield np.ascontiguousarray(frame.to_ndarray().reshape(-1), dtype=np.int16)


def _cut(pieces: Iterator[Block], length: int) -> Iterator[Block]:
    """The same samples in blocks of one length; the last may be shorter."""
    held: list[Block] = []
    count = 0
    for piece in pieces:
        held.append(piece)
        count += len(piece)
        if count < length:
            continue
        whole = np.concatenate(held)
        full = count - count % length
        for at in range(0, full, length):
            yield whole[at : at + length]
        held, count = [whole[full:]], count - full
    if count:
        yield np.concatenate(held)


def _opened(path: Path) -> BinaryIO:
    try:
        if path.is_dir():
            raise SoundError(f"{path} is a folder, not a sound file.")
        if path.is_file() and not os.path.getsize(path):
            raise SoundError(f"{path} is empty.")
        return open(path, "rb")
    except FileNotFoundError:
        raise SoundError(f"There is no file {path}.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise SoundError(f"{path} cannot be opened: {reason}.") from None


def _looks_like_text(stream: BinaryIO) -> bool:
    head = stream.read(4096)
    stream.seek(0)
    if not head or b"\0" in head:
        return False
    try:
        head[:4000].decode("utf-8")
    except UnicodeDecodeError as error:
        return error.start > 3990
    return True
