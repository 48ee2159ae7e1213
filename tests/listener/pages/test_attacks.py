"""Attacks on the pages, tried one after the other: none works, and none harms the run.

The ways of attack are those that OWASP's Web Security Testing Guide 4.2 lists for sessions, requests across sites,
sockets and input (WSTG-SESS, -INPV, -CLNT-10), and rebinding of names.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator

import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus

from listener.archive import Archive, open_archive
from listener.pages.guard import BODY_LIMIT, MESSAGE_LIMIT, TOKEN_HEADER, Gate
from listener.pages.practice import Practice
from tests.listener.archives import noise
from tests.listener.pages.live import asked, begun, opened, ours, practising
from tests.listener.sessions import SAID

Headers = dict[str, str]
SCRIPT = "<script>alert(1)</script>"


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Gate, Practice]]:
    """One server for all attacks: what one of them spoilt, the next would find."""
    with (
        open_archive(tmp_path_factory.mktemp("attacked") / "archive.sqlite3") as archive,
        practising(archive) as (gate, practice),
    ):
        with begun(gate) as line:
            line.ask(do="type", text=SAID)
            line.until("progress", entries=2)
        yield gate, practice


@pytest.fixture(scope="module")
def gate(served: tuple[Gate, Practice]) -> Gate:
    return served[0]


def without(*names: str) -> Callable[[Gate], Headers]:
    return lambda gate: {name: value for name, value in ours(gate).items() if name not in names}


def with_(**changed: str) -> Callable[[Gate], Headers]:
    return lambda gate: {**ours(gate), **{name.replace("_", "-"): value for name, value in changed.items()}}


REQUESTS: list[tuple[str, str, str, Callable[[Gate], Headers], tuple[int, ...]]] = [
    ("no cookie", "GET", "/", without("Cookie"), (403,)),
    ("no cookie for a file", "GET", "/static/live.js", without("Cookie"), (403,)),
    ("no cookie for a voice", "GET", "/practise/voice/abc/1", without("Cookie"), (403,)),
    ("wrong secret in the address", "GET", "/?key=guess", without("Cookie"), (403,)),
    ("empty secret", "GET", "/?key=", without("Cookie"), (403,)),
    ("secret that is no ASCII", "GET", "/?key=%ff%00%e2%82%ac", without("Cookie"), (403,)),
    ("a second, wrong secret", "GET", "/?key=a&key=b", without("Cookie"), (403,)),
    ("secret as a cookie", "GET", "/", lambda g: {**ours(g), "Cookie": f"{g.cookie_name}={g.secret}"}, (403,)),
    ("token as a cookie", "GET", "/", lambda g: {**ours(g), "Cookie": f"{g.cookie_name}={g.token}"}, (403,)),
    ("cookie of another port", "GET", "/", lambda g: {**ours(g), "Cookie": f"crownsole-1={g.cookie}"}, (403,)),
    ("cookie that cannot be read", "GET", "/", with_(Cookie='a="\\; ]['), (403,)),
    ("foreign host (rebinding)", "GET", "/", with_(Host="attacker.example"), (421,)),
    ("foreign host with our port", "GET", "/", lambda g: {**ours(g), "Host": f"attacker.example:{g.port}"}, (421,)),
    ("host that begins like ours", "GET", "/", lambda g: {**ours(g), "Host": f"127.0.0.1:{g.port}.example"}, (421,)),
    ("our host without the port", "GET", "/", with_(Host="127.0.0.1"), (421,)),
    ("no host", "GET", "/", without("Host"), (400, 421)),
    ("foreign host with the right secret", "GET", "/?key=SECRET", with_(Host="attacker.example"), (421,)),
    ("forwarded host", "GET", "/", lambda g: {**ours(g), "Host": "x.example", "X-Forwarded-Host": g.hosts[0]}, (421,)),
    ("forged request: foreign origin", "POST", "/", with_(Origin="http://attacker.example"), (403,)),
    ("forged request: another port of ours", "POST", "/", with_(Origin="http://127.0.0.1:1"), (403,)),
    ("forged request: null origin", "POST", "/", with_(Origin="null"), (403,)),
    ("forged request: no origin", "POST", "/", without("Origin"), (403,)),
    ("forged request: no token", "POST", "/", without(TOKEN_HEADER), (403,)),
    ("forged request: wrong token", "POST", "/", with_(x_crownsole_token="0" * 64), (403,)),
    ("forged request: other site by the browser's word", "POST", "/", with_(Sec_Fetch_Site="cross-site"), (403,)),
    ("forged request: same site, other origin", "POST", "/", with_(Sec_Fetch_Site="same-site"), (403,)),
    ("forged request by another method", "DELETE", "/", without(TOKEN_HEADER), (403,)),
    ("method we do not have", "TRACE", "/", without(TOKEN_HEADER), (403,)),
    ("secret by another method", "POST", "/?key=SECRET", without("Cookie"), (403,)),
    ("path traversal", "GET", "/static/../app.py", ours, (404,)),
    ("path traversal, encoded", "GET", "/static/%2e%2e/app.py", ours, (404,)),
    ("path traversal, encoded slash", "GET", "/static/..%2fapp.py", ours, (404,)),
    ("path traversal, twice encoded", "GET", "/static/%252e%252e%252fapp.py", ours, (404,)),
    ("path traversal, backslash", "GET", "/static/..%5capp.py", ours, (404,)),
    ("path traversal to the root", "GET", "/static//etc/passwd", ours, (404,)),
    ("path with a null", "GET", "/static/style.css%00.html", ours, (404,)),
    ("listing of a folder", "GET", "/static/", ours, (404,)),
    ("voice of a run that is none", "GET", "/practise/voice/%2e%2e%2f/1", ours, (404,)),
    ("voice by a pattern", "GET", "/practise/voice/%25/1", ours, (404,)),
    ("stated length beyond the limit", "POST", "/", with_(Content_Length=str(BODY_LIMIT + 1)), (413,)),
    ("stated length that is none", "POST", "/", with_(Content_Length="-1"), (400,)),
]


@pytest.mark.parametrize(
    ("method", "path", "headers", "wanted"), [row[1:] for row in REQUESTS], ids=[row[0] for row in REQUESTS]
)
def test_requests_that_are_refused(
    served: tuple[Gate, Practice], method: str, path: str, headers: Callable[[Gate], Headers], wanted: tuple[int, ...]
) -> None:
    gate = served[0]
    status, answered, text = asked(gate, method, path.replace("SECRET", gate.secret), headers(gate))
    assert status in wanted
    assert gate.secret not in text
    assert gate.cookie not in f"{answered}{text}"
    if status != 400:  # the server itself answers what is no request at all
        assert "default-src 'none'" in answered["content-security-policy"]
        assert "frame-ancestors 'none'" in answered["content-security-policy"]
        assert answered["x-content-type-options"] == "nosniff"


def test_the_right_address_is_let_in_and_the_secret_leaves_it(gate: Gate) -> None:
    status, headers, _ = asked(gate, "GET", f"/?key={gate.secret}&x=1", {"Host": gate.hosts[0]})
    assert (status, headers["location"]) == (303, "/?x=1")
    cookie = headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert gate.secret not in cookie
    status, headers, text = asked(gate, "GET", "/", {"Host": gate.hosts[0], "Cookie": cookie.partition(";")[0]})
    assert status == 200
    assert headers["referrer-policy"] == "no-referrer"
    assert "unsafe" not in headers["content-security-policy"]
    assert gate.secret not in text


@pytest.mark.parametrize("path", ["//attacker.example", "/\\attacker.example", "//attacker.example/%2f.."])
def test_the_exchange_of_the_secret_leads_nowhere_else(gate: Gate, path: str) -> None:
    _, headers, _ = asked(gate, "GET", f"{path}?key={gate.secret}", {"Host": gate.hosts[0]})
    assert not headers.get("location", "/x").startswith(("//", "/\\", "http"))


def test_a_body_that_goes_on_beyond_its_limit_is_cut_off(kept: Archive) -> None:
    from starlette.requests import Request
    from starlette.responses import JSONResponse
    from starlette.routing import Route

    from listener.pages.app import create_app
    from listener.pages.serving import running

    async def take(request: Request) -> JSONResponse:
        return JSONResponse({"taken": len(await request.body())})

    rooms = [Route("/take", take, methods=["POST"]), Route("/upload/x", take, methods=["POST"])]
    with running(lambda gate: create_app(gate, rooms), uploads={"/upload/": 200_000}) as gate:
        for path, size, wanted in (
            ("/take", BODY_LIMIT, 200), ("/take", BODY_LIMIT + 1, 413), ("/upload/x", 199_999, 200),
            ("/upload/x", 200_001, 413),
        ):
            chunked = b"".join(b"%x\r\n%s\r\n" % (len(p), p) for p in _parts(size)) + b"0\r\n\r\n"
            status, _, _ = asked(gate, "POST", path, {**ours(gate), "Transfer-Encoding": "chunked"}, chunked)
            assert (path, size, status) == (path, size, wanted)


def _parts(size: int) -> list[bytes]:
    return [b"x" * min(4000, size - at) for at in range(0, size, 4000)]


SOCKETS: list[tuple[str, Callable[[Gate], dict[str, str | None]]]] = [
    ("no cookie", lambda g: {"cookie": None}),
    ("wrong cookie", lambda g: {"cookie": f"{g.cookie_name}={'0' * 64}"}),
    ("foreign origin", lambda g: {"origin": "http://attacker.example"}),
    ("another port of ours", lambda g: {"origin": "http://127.0.0.1:1"}),
    ("localhost for 127.0.0.1", lambda g: {"origin": f"http://localhost:{g.port}"}),
    ("secure origin", lambda g: {"origin": f"https://127.0.0.1:{g.port}"}),
    ("no origin", lambda g: {"origin": None}),
    ("null origin", lambda g: {"origin": "null"}),
    ("no token", lambda g: {"token": None}),
    ("wrong token", lambda g: {"token": "0" * 64}),
    ("secret as the token", lambda g: {"token": g.secret}),
    ("foreign host", lambda g: {"host": "attacker.example", "origin": "http://attacker.example"}),
]


@pytest.mark.parametrize("changed", [row[1] for row in SOCKETS], ids=[row[0] for row in SOCKETS])
def test_sockets_that_are_refused(gate: Gate, changed: Callable[[Gate], dict[str, str | None]]) -> None:
    with pytest.raises(InvalidStatus, match="403"), opened(gate, **changed(gate)):
        raise AssertionError("let in")
    with opened(gate) as ours_is_let_in:
        ours_is_let_in.until("everything")


FORGED: list[tuple[str, object]] = [
    ("an amendment with a value", {"do": "ask", "name": "amend", "entry": "e1", "changes": {"value": "1/1"}}),
    ("an end in the name of the session", {"do": "ask", "name": "end", "how": "x"}),
    ("a withdrawal without an entry", {"do": "ask", "name": "withdraw_entry"}),
    ("an entry that is no text", {"do": "ask", "name": "withdraw_entry", "entry": {"$ne": 1}}),
    ("an event as the engine keeps it", {"t": "statement", "body": {"region": "neck"}}),
    ("a request that is none", {"do": "drop"}),
    ("a direction that is none", {"do": "ask", "name": "__class__"}),
    ("a checklist that is a path", {"do": "begin", "checklist": "../../etc/passwd"}),
    ("words without end", {"do": "type", "text": "x" * 5000}),
    ("a take that is a path", {"do": "listen", "take": "../../x"}),
    ("nothing", None),
    ("a number", 7),
    ("a list", []),
    ("no JSON", "{"),
    ("deep JSON", "[" * 100_000),
    ("sound without a head", b"\0\0"),
    ("sound of odd length", b"\0\0\0\0\0"),
    ("sound of no take", b"\0\0\0\0" + noise(1600).tobytes()),
]


@pytest.mark.parametrize("forged", [row[1] for row in FORGED], ids=[row[0] for row in FORGED])
def test_forged_messages_change_nothing(served: tuple[Gate, Practice], forged: object) -> None:
    gate, practice = served
    session = practice.session
    assert session is not None
    before = practice.session.writer.events
    with opened(gate) as line:
        raw = isinstance(forged, bytes | str)
        line.connection.send(forged if raw else json.dumps(forged))  # type: ignore[arg-type]
        line.ask(do="ask", name="mark")
        line.until("answer", id="mark")
    after = [event.kind for event in practice.archive.events(session.id, after=before)]
    assert after == ["request", "mark", "direction"]


def test_who_asked_cannot_be_forged(served: tuple[Gate, Practice]) -> None:
    gate, practice = served
    assert practice.session is not None
    entry = practice.session.state.entries()[0][1].id
    with opened(gate) as line:
        line.ask(
            do="ask", name="withdraw_entry", entry=entry, by="licensed clinician", at="1999-01-01", reason="forged"
        )
        line.until("changed", id=entry)
    amendment = practice.session.state.filing.amendments[-1]
    assert (amendment.by, amendment.reason) == ("page", None)
    assert (amendment.at or "").startswith("20")


def test_a_message_that_is_too_long_ends_its_connection_and_no_other(gate: Gate) -> None:
    with opened(gate) as other:
        with opened(gate) as line:
            line.connection.send(b"x" * (MESSAGE_LIMIT + 2))
            with pytest.raises(ConnectionClosed):
                line.until("never")
        other.ask(do="ask", name="mark")
        other.until("answer", id="mark")


def test_script_in_words_and_packs_is_shown_as_text(kept: Archive) -> None:
    """In the template by escaping; in messages as JSON, which the page sets as text (see the browser's test)."""
    from listener.pages.app import environment

    shown = environment().get_template("live.html").render(
        title=SCRIPT, here="practise", token="t", visitor=None, places=[("practise", "/", SCRIPT)], name=SCRIPT,
        speaks=True, review="", checklists=[{"id": '"><img src=x onerror=alert(1)>', "title": SCRIPT}],
        directions=[{"id": "pause", "say": SCRIPT, "meaning": '" onclick="alert(1)', "key": " "}],
    )
    assert SCRIPT not in shown
    assert "<img" not in shown
    assert 'title="&#34; onclick' in shown
    with practising(kept) as (gate, _), begun(gate) as line:
        line.ask(do="type", text=SCRIPT)
        assert line.until("said")["text"] == SCRIPT
        _, _, text = asked(gate, "GET", "/", ours(gate))
        assert "alert(1)" not in text


def test_another_machine_is_refused() -> None:
    """The server listens on loopback alone; if it were reached otherwise all the same, the guard refuses."""
    import asyncio
    from typing import Any

    from listener.pages.app import create_app

    gate = Gate(8000)
    sent: list[Any] = []

    async def attack() -> None:
        async def receive() -> dict[str, Any]:
            return {"type": "http.request", "body": b""}

        async def send(message: Any) -> None:
            sent.append(message)

        headers = [(name.lower().encode(), value.encode()) for name, value in ours(gate).items()]
        scope = {
            "type": "http", "method": "GET", "path": "/static/style.css", "raw_path": b"/static/style.css",
            "query_string": b"", "headers": headers, "client": ("192.0.2.7", 4000), "root_path": "",
        }
        await create_app(gate)(scope, receive, send)

    asyncio.run(attack())
    assert sent[0]["status"] == 421


def test_failures_tell_nothing_of_what_was_said(kept: Archive, caplog: pytest.LogCaptureFixture) -> None:
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

    from listener.pages.app import create_app
    from listener.pages.serving import running

    def fail(request: Request) -> Response:
        raise RuntimeError("the patient said")

    with running(lambda gate: create_app(gate, [Route("/fail", fail)])) as gate:
        status, headers, text = asked(gate, "GET", "/fail", ours(gate))
    assert status == 500
    assert "nosniff" in headers["x-content-type-options"]
    assert "the patient said" not in text + caplog.text
    assert "RuntimeError in fail" in caplog.text
