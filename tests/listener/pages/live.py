"""A live page to test with: ears that hear what they are told, a server, and ways to speak to it as anybody might."""

from __future__ import annotations

import http.client
import json
import socket as sockets
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from websockets.sync.client import ClientConnection, connect

from listener.archive import Archive
from listener.bars import Progress, silent
from listener.levels import Block
from listener.pages.ears import Hears
from listener.pages.guard import TOKEN_HEADER, Gate
from listener.pages.practice import Practice
from listener.pages.serving import running
from listener.pages.starting import live_app
from listener.session import Words
from listener.sound import RATE
from parser.record import ModelInfo
from tests.listener.sessions import LEXICON, spoken

#: Lines that are heard, each with the second of its stream at which it has been said.
Script = Sequence[tuple[float, str]]
Message = dict[str, Any]


class Ears:
    """Hears the lines of a script when so much sound has come; shows the first two words before."""

    def __init__(self, script: Script, tell: Any) -> None:
        self._script = list(script)
        self._tell = tell
        self._samples = 0

    def accept(self, block: Block) -> list[Words]:
        self._samples += len(block)
        now = self._samples / RATE
        due = [(at, text) for at, text in self._script if at <= now]
        self._script = self._script[len(due) :]
        for _, text in due:
            self._tell(" ".join(text.split()[:2]))
        return [tuple(spoken(text, max(0.0, at - 0.3 * len(text.split())))) for at, text in due]

    def finish(self) -> list[Words]:
        return []


@dataclass
class ScriptedHearers:
    """Hearers whose streams hear the scripts in turn; then nothing."""

    scripts: list[Script] = field(default_factory=list)

    def of(self, packs: tuple[str, ...], progress: Progress = silent) -> Hears:
        progress("Listening to a script")
        return Hears(LEXICON, self._listen, ModelInfo(name="a script"))

    def _listen(self, tell: Callable[[str], None]) -> Ears:
        return Ears(self.scripts.pop(0) if self.scripts else (), tell)


@contextmanager
def practising(archive: Archive, *scripts: Script, grace_s: float = 0.3) -> Iterator[tuple[Gate, Practice]]:
    """A served live page."""
    practice = Practice(archive, ScriptedHearers(list(scripts)), grace_s=grace_s)
    with running(lambda gate: live_app(gate, practice, LEXICON)) as gate:
        yield gate, practice


def ours(gate: Gate) -> dict[str, str]:
    """The headers of a request of our own page."""
    return {
        "Host": gate.hosts[0],
        "Cookie": f"{gate.cookie_name}={gate.cookie}",
        "Origin": f"http://{gate.hosts[0]}",
        "Sec-Fetch-Site": "same-origin",
        TOKEN_HEADER: gate.token,
    }


def asked(
    gate: Gate, method: str, path: str, headers: Mapping[str, str], body: bytes = b""
) -> tuple[int, dict[str, str], str]:
    """Status, headers and text of the answer to a request; the path is sent exactly as it is."""
    connection = http.client.HTTPConnection("127.0.0.1", gate.port, timeout=10)
    try:
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in headers.items():
            connection.putheader(name, value)
        if body and "Content-Length" not in headers and "Transfer-Encoding" not in headers:
            connection.putheader("Content-Length", str(len(body)))
        connection.endheaders()
        if body:
            connection.send(body)
        answer = connection.getresponse()
        return answer.status, {k.lower(): v for k, v in answer.getheaders()}, answer.read().decode("utf-8", "replace")
    finally:
        connection.close()


@contextmanager
def opened(gate: Gate, **changed: str | None) -> Iterator[Line]:
    """A socket as our page opens it, but for ``cookie``, ``host``, ``origin`` or ``token`` changed, or None."""
    host = changed.get("host") or gate.hosts[0]
    cookie = changed.get("cookie", f"{gate.cookie_name}={gate.cookie}")
    token = changed.get("token", gate.token)
    parameters = f"?token={token}" if token is not None else ""
    with (
        sockets.create_connection(("127.0.0.1", gate.port)) as plain,
        connect(
            f"ws://{host}/practise/socket{parameters}",
            sock=plain,
            additional_headers={"Cookie": cookie} if cookie is not None else {},
            origin=changed.get("origin", f"http://{gate.hosts[0]}"),  # type: ignore[arg-type]
            open_timeout=5, compression=None, proxy=None, max_size=None,
        ) as connection,
    ):
        yield Line(connection)


@contextmanager
def begun(gate: Gate) -> Iterator[Line]:
    """A page on which a run was begun."""
    with opened(gate) as line:
        line.ask(do="begin", checklist="complete")
        line.until("everything", phase="running")
        yield line


class Line:
    """A page in a test: what it was told, and what it says."""

    def __init__(self, connection: ClientConnection) -> None:
        self.connection = connection
        self.told: list[Message] = []

    def ask(self, **message: Any) -> None:
        self.connection.send(json.dumps(message))

    def sound(self, start: int, samples: Block) -> None:
        self.connection.send(start.to_bytes(4, "little") + samples.astype("<i2").tobytes())

    def until(self, t: str, **wanted: Any) -> Message:
        """The next message of a kind that has these values; those before it are in ``told``."""
        while True:
            for place, message in enumerate(self.told):
                if message["t"] == t and all(message.get(name) == value for name, value in wanted.items()):
                    del self.told[: place + 1]
                    return message
            self.told += json.loads(self.connection.recv(timeout=15))
