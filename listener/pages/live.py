"""The routes of the live page: the page, its socket, and the voice of its answers."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Any

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, NoMatchFound, Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from lexicon import Lexicon
from lexicon.forms import expand
from lexicon.schema import DirectionsFile
from listener.errors import InputError
from listener.pages.app import page
from listener.pages.live_view import Message, checklists
from listener.pages.practice import ENTRY_REQUESTS, Practice
from listener.pages.takes import Takes
from listener.pages.voice import can_speak, speak

#: With more jobs than this waiting, no more is read from the page until the engine has caught up.
_BACKLOG = 600
#: With more messages than this unsent, the page has fallen behind: it is let go, and comes back to all there is.
_UNSENT = 4000
_LONGEST_TEXT = 4000

#: Single keys for directions; pausing and going on share one, and so do the beginning and the end of counting.
KEYS: Mapping[str, str] = {
    "pause": " ", "go_on": " ", "what_is_left": "l", "where_am_i": "w", "read_back": "r", "read_region": "b",
    "read_vitals": "v", "withdraw": "x", "undo": "u", "mark": "m", "repeat_region": "a", "confirm_yes": "y",
    "confirm_no": "n", "start_counting": "c", "stop_counting": "c", "finish": "f", "help": "h",
}


def routes(practice: Practice, lexicon: Lexicon) -> list[BaseRoute]:
    """The live page of a practice; the names of its places are of ``app.PLACES``."""
    takes = Takes()

    async def practise(request: Request) -> Response:
        return page(
            request, "live.html", here="practise", title="Practise", checklists=list(checklists(lexicon)),
            directions=_directions(lexicon), speaks=can_speak(), name=_file(lexicon).names[0],
            review=_review(request),
        )

    async def socket(websocket: WebSocket) -> None:
        await _Line(websocket, practice, takes, frozenset(d["id"] for d in _directions(lexicon))).serve()

    def voice(request: Request) -> Response:
        return _voice(practice, request.path_params["run"], request.path_params["number"])

    return [
        Route("/", practise, name="practise"),
        WebSocketRoute("/practise/socket", socket),
        Route("/practise/voice/{run}/{number:int}", voice),
    ]


class _Line:
    """The connection of one page."""

    def __init__(self, websocket: WebSocket, practice: Practice, takes: Takes, directions: frozenset[str]) -> None:
        self._websocket = websocket
        self._practice = practice
        self._takes = takes
        self._askable = directions | ENTRY_REQUESTS
        self._take = ""
        self._unsent: asyncio.Queue[Message] = asyncio.Queue()

    async def serve(self) -> None:
        await self._websocket.accept()
        loop = asyncio.get_running_loop()

        def tell(message: Message) -> None:
            with suppress(RuntimeError):  # the loop has ended: the server is stopping
                loop.call_soon_threadsafe(self._unsent.put_nowait, message)

        unwatch = self._practice.watch(tell)
        sending = asyncio.create_task(self._send())
        receiving = asyncio.create_task(self._receive(tell))
        try:
            done, _ = await asyncio.wait([sending, receiving], return_when=asyncio.FIRST_COMPLETED)
            for task in done:
                error = task.exception()
                if error is not None and not isinstance(error, WebSocketDisconnect):
                    raise error
        finally:
            unwatch()
            sending.cancel()
            receiving.cancel()

    async def _send(self) -> None:
        while True:
            messages = [await self._unsent.get()]
            while not self._unsent.empty():
                messages.append(self._unsent.get_nowait())
            if len(messages) > _UNSENT:
                await self._websocket.close(1013)
                return
            await self._websocket.send_text(json.dumps(messages))

    async def _receive(self, tell: Callable[[Message], None]) -> None:
        while True:
            message = await self._websocket.receive()
            if message["type"] == "websocket.disconnect":
                return
            try:
                if message.get("bytes") is not None:
                    self._sound(message["bytes"], tell)
                else:
                    self._obey(json.loads(message.get("text") or ""), tell)
            except (ValueError, TypeError, KeyError, RecursionError):
                tell({"t": "refused", "said": "The page sent what cannot be read. Load it again."})
            while self._practice.backlog > _BACKLOG:
                await asyncio.sleep(0.05)

    def _sound(self, message: bytes, tell: Callable[[Message], None]) -> None:
        take = self._take
        block = self._takes.accept(take, message)
        if take != self._takes.current:
            tell({"t": "elsewhere"})
            return
        samples = self._takes.taken(take)
        self._practice.sound(block, lambda seconds: tell({"t": "taken", "samples": samples, "seconds": seconds}))

    def _obey(self, asked: Mapping[str, Any], tell: Callable[[Message], None]) -> None:
        what, practice = asked["do"], self._practice
        if what == "listen":
            samples = self._takes.claim(_text(asked["take"]))
            self._take = asked["take"]
            tell({"t": "taken", "samples": samples, "take": self._take})
        elif what == "try":
            practice.try_out(_text(asked["checklist"]), _learner(asked))
        elif what == "begin":
            practice.begin(_text(asked["checklist"]), _learner(asked))
        elif what == "go_on_with":
            practice.go_on(_text(asked["run"]))
        elif what == "ask" and asked["name"] in self._askable:
            practice.ask(asked["name"], _text(asked["entry"]) if asked["name"] in ENTRY_REQUESTS else None)
        elif what == "type":
            practice.type(_text(asked["text"]))
        elif what == "close":
            practice.close()
        elif what == "again":
            practice.again()
        else:
            raise ValueError("this cannot be asked")


def _text(value: Any) -> str:
    if not isinstance(value, str) or len(value) > _LONGEST_TEXT:
        raise ValueError("this is no text of a bearable length")
    return value


def _learner(asked: Mapping[str, Any]) -> str | None:
    """Whose run it is to be; the archive checks the name."""
    return _text(asked["learner"]).strip() or None if "learner" in asked else None


def _voice(practice: Practice, run: str, number: int) -> Response:
    """The answer to a direction, spoken. Only what is in the run is ever spoken."""
    head = practice.archive.run(run).head
    event = next(iter(practice.archive.events(head.id, after=number - 1)), None)
    if head.id != run or event is None or event.number != number or event.kind != "direction":
        raise InputError("There is no such answer in this run.")
    wav = speak(str(event.body["answer"]))
    return Response(wav, media_type="audio/wav") if wav else Response(status_code=204)


def _file(lexicon: Lexicon) -> DirectionsFile:
    file = lexicon.files["directions"]
    assert isinstance(file, DirectionsFile)
    return file


def _directions(lexicon: Lexicon) -> list[dict[str, str]]:
    """What can be asked, with one way of saying each, and the key that asks for it."""
    return [
        {"id": d.id, "say": expand(d.forms[0])[0], "meaning": d.meaning, "key": KEYS.get(d.id, "")}
        for d in _file(lexicon).directions
    ]


def _review(request: Request) -> str:
    """The address of the review page with RUN in the place of a run; empty where this server has none."""
    try:
        return str(request.app.url_path_for("review", run="RUN"))
    except NoMatchFound:
        return ""
