"""The server mode as an operator starts it: a process, behind a proxy that speaks for the browser's address."""

from __future__ import annotations

import http.client
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import urlencode

import pytest

from listener.archive import open_archive
from listener.school.access import Log
from listener.school.passwords import Passwords
from listener.school.people import People
from tests.listener.school.schools import FORM, PASSWORDS, QUICK

ORIGIN = "https://practice.example"
_START_S = 60


@contextmanager
def serving(place: str) -> Iterator[int]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    started = [sys.executable, "-c", "from listener.cli import main; main()"]
    command = [*started, "serve", "--origin", ORIGIN, "--port", str(port)]
    process = subprocess.Popen(command, env={**os.environ, "CROWNSOLE_ARCHIVE": place})
    try:
        until = time.monotonic() + _START_S
        while not _answers(port):
            assert process.poll() is None, "the server ended"
            assert time.monotonic() < until, "the server did not start"
            time.sleep(0.1)
        yield port
    finally:
        process.send_signal(signal.SIGINT)
        assert process.wait(20) == 0


def _answers(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), 0.2).close()
    except OSError:
        return False
    return True


def through_the_proxy(port: int, browser: str, password: str) -> tuple[int, str]:
    """What a proxy sends on for a browser: status and cookie of the answer."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    sent = {"Host": "practice.example", "Origin": ORIGIN, "Content-Type": FORM, "X-Forwarded-For": browser,
            "X-Forwarded-Proto": "https"}
    try:
        connection.request("POST", "/sign-in", urlencode({"name": "anna", "password": password}), sent)
        answer = connection.getresponse()
        return answer.status, answer.headers.get("set-cookie", "")
    finally:
        connection.close()


@pytest.mark.parametrize("place", ["postgresql"], indirect=True)
def test_a_server_behind_a_proxy_knows_browsers_apart(place: str) -> None:
    with open_archive(place) as archive:
        People(archive, Passwords(QUICK)).add("anna", "learner", "L-1", PASSWORDS["anna"])
    with serving(place) as port:
        for _ in range(5):
            assert through_the_proxy(port, "203.0.113.9", "wrong wrong wrong")[0] == 403
        assert through_the_proxy(port, "203.0.113.9", PASSWORDS["anna"])[0] == 403
        status, cookie = through_the_proxy(port, "198.51.100.4", PASSWORDS["anna"])
        assert status == 303
        assert cookie.startswith("__Host-crownsole=")
        assert "Secure" in cookie
    with open_archive(place) as archive:
        log = Log(archive).last()
        kept = {person.name: person for person in People(archive).all()}
    assert {line.address for line in log} == {"203.0.113.9", "198.51.100.4"}
    assert (log[0].who, log[0].what, log[0].outcome) == ("anna", "sign in", "done")
    assert kept["anna"].has_password
