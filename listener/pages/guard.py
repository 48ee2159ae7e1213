"""Who may speak to the pages: this machine's own browser, with the secret of the address, and nobody else.

Other pages in the same browser and other programs on the same machine can reach a loopback port too. Hence: a
secret that is exchanged for a cookie, checks of host, origin and a token, limits, and a content policy that
takes nothing from elsewhere and runs no script of a page's text.
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import logging
import secrets
import traceback
from collections.abc import Mapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qsl, urlencode

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: Bytes of the body of a request, and of one message on a socket.
BODY_LIMIT = 64 * 1024
MESSAGE_LIMIT = 256 * 1024

#: The header, or for a socket the parameter, that carries the token of the page.
TOKEN_HEADER = "x-crownsole-token"
TOKEN_PARAMETER = "token"
KEY_PARAMETER = "key"

TOO_BIG = "This is more than may be sent here."
_SAFE = ("GET", "HEAD")
_CLOSED = 1008
_TOO_BIG = 1009
_FAILED = 1011
_LOG = logging.getLogger("crownsole.pages")


@dataclass(frozen=True, slots=True)
class Gate:
    """The secret of one server and the port it listens on; ``uploads`` are beginnings of paths with their own limit
    of bytes, for bodies that are files.
    """

    port: int
    secret: str = field(default_factory=lambda: secrets.token_urlsafe(32), repr=False)
    uploads: Mapping[str, int] = field(default_factory=dict, hash=False)

    @property
    def hosts(self) -> tuple[str, ...]:
        return (f"127.0.0.1:{self.port}", f"localhost:{self.port}", f"[::1]:{self.port}")

    @property
    def cookie_name(self) -> str:
        """Cookies do not know ports: two servers must not overwrite each other's."""
        return f"crownsole-{self.port}"

    @property
    def cookie(self) -> str:
        return self._derived("cookie")

    @property
    def token(self) -> str:
        """What a page sends back with every request that changes something."""
        return self._derived("token")

    def address(self, path: str = "/") -> str:
        """The address to open in the browser, with the secret in it."""
        return f"http://127.0.0.1:{self.port}{path}?{urlencode({KEY_PARAMETER: self.secret})}"

    def limit(self, path: str) -> int:
        return next((limit for start, limit in self.uploads.items() if path.startswith(start)), BODY_LIMIT)

    def _derived(self, purpose: str) -> str:
        return hmac.new(self.secret.encode(), purpose.encode(), hashlib.sha256).hexdigest()


def policy(host: str) -> str:
    """The content policy: everything from this server, no inline script or style, no writing of markup by script."""
    return "; ".join([
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "media-src 'self' blob:",
        f"connect-src 'self' ws://{host}",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
        "require-trusted-types-for 'script'",
        "trusted-types 'none'",
    ])


def headers_for(host: str) -> dict[str, str]:
    """What every answer carries."""
    return {
        "content-security-policy": policy(host),
        "referrer-policy": "no-referrer",
        "x-content-type-options": "nosniff",
        "x-frame-options": "DENY",
        "cross-origin-opener-policy": "same-origin",
        "cross-origin-resource-policy": "same-origin",
        "permissions-policy": "microphone=(self), camera=(), geolocation=(), payment=(), usb=()",
        "cache-control": "no-store",
    }


class Guard:
    """The middleware that stands before every route."""

    def __init__(self, app: ASGIApp, gate: Gate) -> None:
        self.app = app
        self.gate = gate

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            await self._http(scope, receive, send)
        elif scope["type"] == "websocket":
            await self._socket(scope, receive, send)
        else:
            await self.app(scope, receive, send)

    async def _http(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = Headers(scope=scope)
        host = headers.get("host", "") if self._is_ours(scope, headers) else self.gate.hosts[0]
        send = with_headers(send, headers_for(host))
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await refusal(scope, receive, send)
            return
        limited = Limited(receive, self.gate.limit(scope["path"]))
        try:
            await self.app(scope, limited, limited.watched(send))
        except TooBig:
            if not limited.answered:
                await too_big()(scope, receive, send)
        except Exception as error:
            log_failure(error)
            if not limited.answered:
                await refused(500, "The program failed. What was recorded is kept.")(scope, receive, send)

    async def _socket(self, scope: Scope, receive: Receive, send: Send) -> None:
        headers = Headers(scope=scope)
        token = dict(parse_qsl(scope["query_string"].decode("latin-1"))).get(TOKEN_PARAMETER, "")
        known = self._is_ours(scope, headers) and self._has_cookie(headers) and same(token, self.gate.token)
        if not known or headers.get("origin") != f"http://{headers['host']}":
            await send({"type": "websocket.close", "code": _CLOSED})
            return
        try:
            await self.app(scope, _messages(receive), send)
        except TooBig:
            await send({"type": "websocket.close", "code": _TOO_BIG})
        except Exception as error:
            log_failure(error)
            await send({"type": "websocket.close", "code": _FAILED})

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        """Why a request is not let in, as an answer; None when it is."""
        if not self._is_ours(scope, headers):
            return refused(421, "This page is served on this machine alone.")
        entered = self._entering(scope)
        if entered is not None:
            return entered
        if not self._has_cookie(headers):
            return refused(403, "Open the page with the address that crownsole printed when it was started.")
        if scope["method"] not in _SAFE and not self._is_from_our_page(headers):
            return refused(403, "This request did not come from the page. Load the page again.")
        return self._oversized(scope, headers)

    def _is_ours(self, scope: Scope, headers: Headers) -> bool:
        """Whether it comes over loopback and is meant for us: a name of another host may point here (rebinding)."""
        client = scope.get("client")
        return headers.get("host") in self.gate.hosts and (client is None or _is_loopback(client[0]))

    def _entering(self, scope: Scope) -> Response | None:
        """The exchange of the secret in the address for a cookie; the address is then without it."""
        asked = parse_qsl(scope["query_string"].decode("latin-1"))
        key = dict(asked).get(KEY_PARAMETER)
        if key is None or scope["method"] != "GET":
            return None
        if not same(key, self.gate.secret):
            return refused(403, "The secret in this address is not that of the running server. Start it again.")
        rest = urlencode([(name, value) for name, value in asked if name != KEY_PARAMETER])
        path = "/" + scope["path"].lstrip("/\\")
        answer = RedirectResponse(path + (f"?{rest}" if rest else ""), 303)
        answer.set_cookie(self.gate.cookie_name, self.gate.cookie, httponly=True, samesite="strict", path="/")
        return answer

    def _has_cookie(self, headers: Headers) -> bool:
        try:
            morsel = SimpleCookie(headers.get("cookie", "")).get(self.gate.cookie_name)
        except CookieError:
            return False
        return morsel is not None and same(morsel.value, self.gate.cookie)

    def _is_from_our_page(self, headers: Headers) -> bool:
        ours = headers.get("origin") == f"http://{headers['host']}"
        site = headers.get("sec-fetch-site", "same-origin") == "same-origin"
        return ours and site and same(headers.get(TOKEN_HEADER, ""), self.gate.token)

    def _oversized(self, scope: Scope, headers: Headers) -> Response | None:
        stated = headers.get("content-length", "0")
        if not stated.isdigit():
            return refused(400, "The length of the request cannot be read.")
        return too_big() if int(stated) > self.gate.limit(scope["path"]) else None


class TooBig(HTTPException):
    """A body or message goes on beyond its limit."""

    def __init__(self) -> None:
        super().__init__(413)


class Limited:
    """Counts the bytes of a body as it comes: its stated length may be absent or a lie."""

    def __init__(self, receive: Receive, most: int) -> None:
        self._receive = receive
        self._left = most
        self.answered = False

    async def __call__(self) -> Message:
        message = await self._receive()
        self._left -= len(message.get("body", b""))
        if self._left < 0:
            raise TooBig
        return message

    def watched(self, send: Send) -> Send:
        async def watch(message: Message) -> None:
            self.answered = True
            await send(message)

        return watch


def _messages(receive: Receive) -> Receive:
    async def limited() -> Message:
        message = await receive()
        if len(message.get("bytes") or b"") + len(message.get("text") or "") > MESSAGE_LIMIT:
            raise TooBig
        return message

    return limited


def with_headers(send: Send, wanted: Mapping[str, str]) -> Send:
    async def adding(message: Message) -> None:
        if message["type"] == "http.response.start":
            MutableHeaders(scope=message).update(wanted)
        await send(message)

    return adding


def refused(status: int, why: str) -> Response:
    return PlainTextResponse(why + "\n", status)


def log_failure(error: Exception) -> None:
    """Where the program failed, without the message: it may hold what was said in a run."""
    frames = traceback.extract_tb(error.__traceback__)[-3:]
    places = " < ".join(f"{frame.name} ({frame.filename.rpartition('/')[2]}:{frame.lineno})" for frame in frames[::-1])
    _LOG.error("%s in %s", type(error).__name__, places)


def too_big() -> Response:
    return refused(413, TOO_BIG)


def same(given: str, wanted: str) -> bool:
    return hmac.compare_digest(given.encode("utf-8", "surrogateescape"), wanted.encode())


def _is_loopback(address: str) -> bool:
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False
