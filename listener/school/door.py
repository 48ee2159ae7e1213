"""What stands before every page of the server mode: the host, the session, the proof that a change comes from our page.

The server listens behind the operator's proxy, which does TLS. Cookies are then Secure and bound to the host; without
TLS the server mode is for loopback alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qsl, quote, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from listener.errors import StorageError, UsageError
from listener.pages.guard import (
    BODY_LIMIT,
    TOKEN_HEADER,
    Limited,
    TooBig,
    headers_for,
    log_failure,
    refused,
    same,
    too_big,
    with_headers,
)
from listener.pages.visiting import TOKEN, VISITOR, Visitor
from listener.school.access import PERSON
from listener.school.people import Person
from listener.school.signing_in import SignedIn, SignIns

SIGN_IN = "/sign-in"
SIGNED_IN = "crownsole.signed_in"
_FORM = "application/x-www-form-urlencoded"
_SAFE = ("GET", "HEAD")
_LOOPBACK = ("127.0.0.1", "localhost", "::1")
#: What is served to everybody, besides the page to sign in on: the files of the pages, which hold nothing of a run.
_FILES = "/static/"


@dataclass(frozen=True, slots=True)
class Public:
    """The address under which the school's browsers see the server; ``uploads`` as for the pages' own gate."""

    origin: str
    uploads: Mapping[str, int] = field(default_factory=dict, hash=False)

    def __post_init__(self) -> None:
        parts = urlsplit(self.origin)
        if parts.scheme not in ("http", "https") or not parts.hostname or self.origin != f"{parts.scheme}://{parts.netloc}":
            raise UsageError(f"'{self.origin}' is no address of a server. Write it like this: https://practice.example")
        if not self.secure and parts.hostname not in _LOOPBACK:
            raise UsageError(
                "Passwords and runs would go over the network for all to read. Put a proxy with TLS in front and give "
                "its https:// address as --origin; without TLS only a loopback address is served."
            )

    @property
    def host(self) -> str:
        return urlsplit(self.origin).netloc

    @property
    def secure(self) -> bool:
        return self.origin.startswith("https://")

    @property
    def cookie_name(self) -> str:
        """With TLS a cookie that no other host can set (RFC 6265bis, 4.1.3.2)."""
        return "__Host-crownsole" if self.secure else f"crownsole-school-{urlsplit(self.origin).port or 80}"

    def limit(self, path: str) -> int:
        return next((limit for start, limit in self.uploads.items() if path.startswith(start)), BODY_LIMIT)

    def set_cookie(self, answer: Response, token: str) -> None:
        answer.set_cookie(
            self.cookie_name, token, httponly=True, samesite="strict", secure=self.secure, path="/"
        )

    def drop_cookie(self, answer: Response) -> None:
        answer.delete_cookie(self.cookie_name, httponly=True, samesite="strict", secure=self.secure, path="/")


class Doorway:
    """The middleware."""

    def __init__(self, app: ASGIApp, public: Public, sign_ins: SignIns) -> None:
        self.app = app
        self.public = public
        self._sign_ins = sign_ins

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            await self._http(scope, receive, send)
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})  # no page of the server mode has a socket
        else:
            await self.app(scope, receive, send)

    async def _http(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = Headers(scope=scope)
        send = with_headers(send, self._headers())
        limited = Limited(receive, self.public.limit(scope["path"]))
        try:
            refusal, replayed = await self._looked_at(scope, headers, limited)
            if refusal is not None:
                await refusal(scope, receive, send)
                return
            await self.app(scope, replayed, limited.watched(send))
        except TooBig:
            if not limited.answered:
                await too_big()(scope, receive, send)
        except StorageError as error:
            if not limited.answered:
                await refused(503, str(error))(scope, receive, send)
        except Exception as error:
            log_failure(error)
            if not limited.answered:
                await refused(500, "The program failed. What was recorded is kept.")(scope, receive, send)

    def _headers(self) -> dict[str, str]:
        """As for the pages of one user; but a form needs its origin told, which no-referrer would hide."""
        made = {**headers_for(self.public.host), "referrer-policy": "same-origin"}
        return {**made, "strict-transport-security": "max-age=31536000"} if self.public.secure else made

    async def _looked_at(self, scope: Scope, headers: Headers, receive: Limited) -> tuple[Response | None, Receive]:
        """Why a request is not let in, as an answer, or None; and where its body is read from."""
        if headers.get("host") != self.public.host:
            return refused(421, "This is not the address of this server."), receive
        stated = headers.get("content-length", "0")
        if not stated.isdigit():
            return refused(400, "The length of the request cannot be read."), receive
        if int(stated) > self.public.limit(scope["path"]):
            return too_big(), receive
        signed_in = await self._signed_in(headers)
        self._tell(scope, signed_in)
        if signed_in is None and scope["path"] != SIGN_IN and not scope["path"].startswith(_FILES):
            return self._sent_to_sign_in(scope, headers), receive
        if scope["method"] in _SAFE:
            return None, receive
        return await self._proved(scope, headers, receive, signed_in)

    async def _signed_in(self, headers: Headers) -> SignedIn | None:
        token = self._cookie(headers)
        return None if not token else await run_in_threadpool(self._sign_ins.find, token)

    def _cookie(self, headers: Headers) -> str:
        try:
            morsel = SimpleCookie(headers.get("cookie", "")).get(self.public.cookie_name)
        except CookieError:
            return ""
        return morsel.value if morsel is not None else ""

    def _tell(self, scope: Scope, signed_in: SignedIn | None) -> None:
        """What the pages and the checks of routes need to know of who asks."""
        scope[SIGNED_IN] = signed_in
        scope[TOKEN] = signed_in.proof if signed_in else ""
        scope[VISITOR] = visitor(signed_in.person) if signed_in else None
        if signed_in is not None:
            scope[PERSON] = signed_in.person

    def _sent_to_sign_in(self, scope: Scope, headers: Headers) -> Response:
        if scope["method"] in _SAFE and "text/html" in headers.get("accept", ""):
            asked = scope["path"] + (f"?{scope['query_string'].decode('latin-1')}" if scope["query_string"] else "")
            return RedirectResponse(f"{SIGN_IN}?next={quote(asked, safe='')}", 303)
        return refused(401, "Sign in first; the time of a session may have run out.")

    async def _proved(
        self, scope: Scope, headers: Headers, receive: Limited, signed_in: SignedIn | None
    ) -> tuple[Response | None, Receive]:
        """Whether a change comes from a page of ours: by its origin, and in a session by its token."""
        ours = headers.get("origin") == self.public.origin
        if not ours or headers.get("sec-fetch-site", "same-origin") != "same-origin":
            return refused(403, "This request did not come from the page. Load the page again."), receive
        if signed_in is None:
            return None, receive
        given = headers.get(TOKEN_HEADER)
        replayed: Receive = receive
        if given is None and headers.get("content-type", "").partition(";")[0] == _FORM:
            body = await _whole(receive)
            given, replayed = _token(body), _again(body)
        if not same(given or "", signed_in.proof):
            return refused(403, "This request did not come from the page. Load the page again."), replayed
        return None, replayed


def visitor(person: Person) -> Visitor:
    """What pages know of a person."""
    return Visitor(person.name, person.role, person.learner, person.role == "educator")


async def _whole(receive: Receive) -> bytes:
    body, more = b"", True
    while more:
        message = await receive()
        body += message.get("body", b"")
        more = message["type"] == "http.request" and message.get("more_body", False)
    return body


def _token(body: bytes) -> str:
    try:
        return dict(parse_qsl(body.decode("utf-8"), max_num_fields=20)).get("token", "")
    except ValueError:
        return ""


def _again(body: bytes) -> Receive:
    """Gives a body that was read once more."""
    waiting: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]

    async def receive() -> Message:
        return waiting.pop() if waiting else {"type": "http.disconnect"}

    return receive
