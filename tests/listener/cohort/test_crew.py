"""Real Dask processes: every file ends with one outcome, whatever dies."""

from __future__ import annotations

import os
import signal
import threading
import time
from collections.abc import Iterator
from contextlib import suppress

import pytest

from listener.cohort.crew import Where, checked_address, crew, outcomes
from listener.errors import UsageError
from tests.listener.cohort.work import job, slow

distributed = pytest.importorskip("distributed", reason="the packages of a cohort are absent: pip install '.[test]'")

# Dask leaves sockets and coroutines to the collector when its workers are killed.
pytestmark = pytest.mark.filterwarnings("ignore")


@pytest.fixture(scope="module")
def client() -> Iterator[object]:
    with crew(Where(workers=2)) as made:
        yield made


def test_every_job_ends_once_though_workers_are_killed(client: object) -> None:
    jobs = [job(n) for n in range(12)]
    stop = threading.Event()

    def kill() -> None:
        while not stop.wait(1.5):
            pids = list(client.run(os.getpid).values())  # type: ignore[attr-defined]
            if pids:
                os.kill(pids[0], signal.SIGKILL)
                killed.append(pids[0])
            if len(killed) >= 2:
                return

    killed: list[int] = []
    killer = threading.Thread(target=kill)
    killer.start()
    got = []
    for outcome in outcomes(client, jobs, slow):  # type: ignore[arg-type]
        got.append(outcome)
        time.sleep(0.05)
    stop.set()
    killer.join()
    assert killed
    assert sorted(outcome.key for outcome in got) == [each.key for each in jobs]
    assert {outcome.state for outcome in got} == {"done"}


def test_a_file_that_kills_its_workers_is_tried_apart_and_stops_no_other(client: object) -> None:
    jobs = [job(101, "fatal.wav"), job(102, "good.wav")]
    got = {outcome.name: outcome for outcome in outcomes(client, jobs, slow)}  # type: ignore[arg-type]
    assert got["good.wav"].state == "done"
    assert (got["fatal.wav"].state, got["fatal.wav"].reason) == ("failed", "crashed apart")


@pytest.mark.parametrize(
    ("where", "why"),
    [
        (Where(scheduler="192.0.2.7:8786"), "no address"),
        (Where(scheduler="http://192.0.2.7"), "no address"),
        (Where(scheduler="tcp://192.0.2.7:8786"), "without encryption"),
        (Where(scheduler="tls://192.0.2.7:8786"), "--tls-ca"),
    ],
)
def test_an_address_that_must_not_be_used_is_refused(where: Where, why: str) -> None:
    with pytest.raises(UsageError, match=why):
        checked_address(where)


def test_a_scheduler_on_this_machine_may_be_used() -> None:
    assert checked_address(Where(scheduler="tcp://127.0.0.1:8786")) == "tcp://127.0.0.1:8786"


def test_workers_that_die_while_they_start_are_replaced() -> None:
    psutil = pytest.importorskip("psutil")

    def kill_everyone() -> None:
        for _ in range(8):
            for process in psutil.Process().children(recursive=True):
                with suppress(psutil.Error):
                    if "spawn_main" in " ".join(process.cmdline()):
                        process.kill()
            time.sleep(0.6)

    jobs = [job(200 + n) for n in range(12)]
    with crew(Where(workers=2)) as client:
        killer = threading.Thread(target=kill_everyone)
        killer.start()
        got = [outcome.key for outcome in outcomes(client, jobs, slow)]
        killer.join()
    assert sorted(got) == [each.key for each in jobs]
