"""The command that starts the live page, as a process of its own; and its server."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from listener.archive import open_archive
from listener.errors import UsageError
from listener.pages.app import create_app
from listener.pages.guard import Gate
from listener.pages.serving import running, serve
from tests.listener.models import stock
from tests.listener.pages.live import opened
from tests.listener.sessions import SAID


@contextmanager
def live(place: Path, *more: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The process of ``crownsole live`` and the address it printed."""
    command = [sys.executable, "-c", "from listener.cli import main; main()", "live", "--no-browser", "--port", "0"]
    environment = {**os.environ, "CROWNSOLE_ARCHIVE": str(place), "PYTHONWARNINGS": "error"}
    process = subprocess.Popen(
        [*command, *more], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment
    )
    try:
        assert process.stdout is not None
        yield process, process.stdout.readline().strip()
    finally:
        process.kill()
        process.communicate()


@pytest.mark.model
def test_the_command_prints_an_address_serves_it_and_keeps_the_run_at_ctrl_c(tmp_path: Path) -> None:
    stock()
    place = tmp_path / "archive.sqlite3"
    with live(place, "--stock-vocabulary", "--checklist", "respiratory") as (process, address):
        found = re.fullmatch(r"http://127\.0\.0\.1:(\d+)/\?key=([\w-]{40,})", address)
        assert found is not None
        gate = Gate(int(found[1]), found[2])
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        with opener.open(address, timeout=20) as answer:
            text = answer.read().decode()
        assert all(f">{place}<" in text for place in ("Practise", "Runs", "Progress"))
        with opened(gate) as line:
            line.until("everything", phase="ready")
            line.ask(do="begin", checklist="respiratory")
            run = line.until("everything", phase="running")["run"]
            line.ask(do="type", text=SAID)
            line.until("progress", entries=2)
        process.send_signal(signal.SIGINT)
        _, told = process.communicate(timeout=20)
        assert process.returncode == 0
        assert told == f"Run {run} is kept. See it with: crownsole review {run}\n"
    with open_archive(place) as archive:
        assert archive.run(run).status == "finished"


@pytest.mark.parametrize("more", [["--words"], ["--run", "zzz"], ["--port", "99999"]])
def test_what_cannot_be_asked_is_told_in_a_sentence(tmp_path: Path, more: list[str]) -> None:
    with live(tmp_path / "archive.sqlite3", *more) as (process, address):
        assert address == ""
        _, told = process.communicate(timeout=20)
    assert process.returncode in (2, 3)
    assert told.startswith("crownsole: ")
    assert "Traceback" not in told


def test_a_port_that_is_taken_is_told() -> None:
    with running(create_app) as gate, pytest.raises(UsageError, match=f"Port {gate.port} cannot be used"):
        serve(create_app, port=gate.port, browser=False)


def test_two_servers_keep_their_cookies_apart() -> None:
    with running(create_app) as one, running(create_app) as other:
        assert one.cookie_name != other.cookie_name
        assert one.secret not in repr(one)
