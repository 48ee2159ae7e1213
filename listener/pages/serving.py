"""Serves an application on a free port of loopback until it is told to stop, and opens the browser on it."""

from __future__ import annotations

import socket
import sys
import threading
import time
import webbrowser
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress

import uvicorn
from starlette.applications import Starlette

from listener.errors import UsageError
from listener.pages.guard import MESSAGE_LIMIT, Gate

#: Makes the application once the gate (port and secret) is known.
MakeApp = Callable[[Gate], Starlette]

#: Tried first: a browser remembers what it was allowed (the microphone) by address, and the address has the port.
USUAL_PORT = 52731

_START_S = 20.0
_WAITING = 128


def serve(
    make: MakeApp, *, port: int | None = None, browser: bool = True, path: str = "/",
    uploads: Mapping[str, int] | None = None,
) -> None:
    """Serve until Ctrl-C. ``port`` None takes the usual one, or a free one where that is taken; without ``browser``
    the address is printed alone.

    Raises :class:`UsageError` when the port is taken.
    """
    with _listening(*((USUAL_PORT, 0) if port is None else (port,))) as listening:
        gate = Gate(listening.getsockname()[1], uploads=uploads or {})
        server = _server(make(gate))
        print(gate.address(path), flush=True)
        if browser:
            print("The page opens in the browser; the address above opens it again. Ctrl-C ends it.", file=sys.stderr)
            threading.Thread(target=_open, args=(server, gate.address(path)), daemon=True).start()
        with suppress(KeyboardInterrupt):  # the server has shut down by then; it passes the signal on
            server.run(sockets=[listening])


@contextmanager
def running(make: MakeApp, *, uploads: Mapping[str, int] | None = None, port: int = 0) -> Iterator[Gate]:
    """Serve in a thread of this process, for as long as the context lasts."""
    with _listening(port) as listening:
        gate = Gate(listening.getsockname()[1], uploads=uploads or {})
        server = _server(make(gate))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        try:
            _await(server, thread)
            yield gate
        finally:
            server.should_exit = True
            thread.join(_START_S)


def _server(app: Starlette) -> uvicorn.Server:
    return uvicorn.Server(
        uvicorn.Config(
            app,
            log_level="error",
            access_log=False,
            server_header=False,
            date_header=False,
            proxy_headers=False,
            lifespan="on",
            ws="websockets-sansio",
            ws_max_size=MESSAGE_LIMIT,
            ws_per_message_deflate=False,
            limit_concurrency=64,
            timeout_graceful_shutdown=3,
        )
    )


@contextmanager
def _listening(*ports: int) -> Iterator[socket.socket]:
    """A socket on the first of the ports that can be used."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        for port in ports:
            try:
                listening.bind(("127.0.0.1", port))
                break
            except (OSError, OverflowError):
                continue
        else:
            raise UsageError(f"Port {ports[-1]} cannot be used. Name another with --port, or leave it out.")
        listening.listen(_WAITING)  # so that the address can be opened as soon as it was printed
        yield listening


def _await(server: uvicorn.Server, thread: threading.Thread) -> None:
    until = time.monotonic() + _START_S
    while not server.started and thread.is_alive() and time.monotonic() < until:
        time.sleep(0.01)
    if not server.started:
        raise RuntimeError("the server did not start")


def _open(server: uvicorn.Server, address: str) -> None:
    while not server.started:
        time.sleep(0.05)
    if not webbrowser.open(address):
        print("No browser could be opened. Open the address above by hand.", file=sys.stderr)
