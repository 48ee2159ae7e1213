"""The workers: Dask processes of this machine, or a scheduler elsewhere; files go out, outcomes come in as they are.

Why Dask: a worker that dies costs one file's time, not the cohort. Each worker is a process with one thread and one
model. A file that was running when several workers died is tried again in a process of its own; what still does
not come back is "lost", and no fault of the file is claimed.
"""

from __future__ import annotations

import ipaddress
import logging
import os
import threading
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from listener.cohort.jobs import BENCH, Job, Outcome, Setting, lost, work
from listener.errors import CrownsoleError, HearingError, UsageError

if TYPE_CHECKING:
    from distributed import Client

#: What a worker does with a job.
Work = Callable[[Job], Outcome]

#: Workers that may die under one file before it is tried apart.
_DEATHS = 3
#: Times it is tried apart: there it cannot harm its worker, so that a worker that dies again died of something else.
_TIMES_APART = 5
_PATIENCE_S = 60
_TEND_S = 5.0


@dataclass(frozen=True, slots=True)
class Where:
    """Where files are worked on: ``workers`` processes here, or the scheduler at an address.

    An address of another machine must be ``tls://`` with the files of certificate authority, certificate and key:
    recordings are named to it and records come back over it.
    """

    workers: int | None = None
    scheduler: str | None = None
    ca: Path | None = None
    certificate: Path | None = None
    key: Path | None = None


def usual_workers() -> int:
    """As many processes as this machine has cores for us."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def crew(where: Where) -> Iterator[Client]:
    """A client of the workers. Raises :class:`UsageError`, and :class:`HearingError` when no scheduler answers."""
    installed()
    import dask
    from distributed import Client

    quiet = {"distributed.scheduler.allowed-failures": _DEATHS, "logging.distributed": "critical",
             "distributed.deploy.lost-worker-timeout": "5s", "distributed.worker.daemon": True,
             "distributed.scheduler.worker-saturation": 1.0, "distributed.scheduler.http.routes": [],
             "distributed.worker.http.routes": [],
             "distributed.admin.tick.limit": "1h"}
    for name in ("distributed", "distributed.nanny", "distributed.worker", "distributed.scheduler", "tornado"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
    warnings.filterwarnings("ignore", message="Port .* is already in use", module="distributed")
    with dask.config.set(quiet):
        if where.scheduler is None:
            with _local(where.workers or usual_workers()) as cluster, Client(cluster, set_as_default=False) as client:
                yield client
            return
        try:
            client = Client(checked_address(where), security=_security(where), timeout=_PATIENCE_S,
                            set_as_default=False)
            client.wait_for_workers(1, timeout=_PATIENCE_S)
        except (OSError, TimeoutError) as error:
            raise HearingError(f"No worker is ready at {where.scheduler} ({type(error).__name__}). "
                               "Start a scheduler and workers first; see the README.") from None
        with client:
            yield client


def checked_address(where: Where) -> str:
    """The address of a scheduler that may be used. Raises :class:`UsageError`."""
    address = where.scheduler or ""
    parts = urlsplit(address)
    if parts.scheme not in ("tcp", "tls") or not parts.hostname:
        raise UsageError(f"'{address}' is no address of a scheduler. Write it like this: tls://192.0.2.7:8786")
    if parts.scheme == "tcp" and not _here(parts.hostname):
        raise UsageError(f"{address} is another machine without encryption: anyone in between could hear. "
                         "Use a tls:// address with --tls-ca, --tls-cert and --tls-key.")
    if parts.scheme == "tls" and not (where.ca and where.certificate and where.key):
        raise UsageError("A tls:// address needs --tls-ca, --tls-cert and --tls-key.")
    return address


def outcomes(client: Client, jobs: Sequence[Job], do: Work = work) -> Iterator[Outcome]:
    """The outcome of every job, once, in the order in which they come. Raises :class:`HearingError`."""
    from distributed import as_completed

    if not jobs:
        return
    running = {client.submit(do, job, key=f"file-{job.key}", pure=False): job for job in jobs}
    apart: Counter[str] = Counter()
    coming = as_completed(list(running), loop=client.loop)
    try:
        for future in coming:
            job = running.pop(future)
            if not _went_away(future):
                yield _result(future, job)
                future.release()
            elif apart[job.key] == _TIMES_APART:
                yield lost(job)
            else:
                apart[job.key] += 1
                again = replace(job, apart=True)
                made = client.submit(do, again, key=f"apart-{job.key}-{apart[job.key]}", pure=False)
                running[made] = again
                coming.add(made)
    except (OSError, TimeoutError) as error:
        raise HearingError(f"The scheduler went away ({type(error).__name__}). What is done is kept: run the same "
                           "command again to go on.") from None
    if running:
        raise HearingError("The scheduler went away. What is done is kept: run the same command again to go on.")


def prepare(client: Client, setting: Setting) -> None:
    """Have every worker, and each that comes later, make its ears before its first file."""
    client.register_plugin(_plugin(setting))


def _plugin(setting: Setting) -> Any:
    from distributed import WorkerPlugin

    class Ears(WorkerPlugin):
        """One model a process, loaded when the worker starts; where that fails, each file tells why."""

        name = "crownsole-ears"

        def setup(self, worker: object) -> None:
            from listener.recognizer import load_model
            from listener.settings import STANDARD

            try:
                load_model(BENCH.ears(setting).folder, STANDARD)
            except CrownsoleError:
                return

    return Ears()


@contextmanager
def _local(workers: int) -> Iterator[Any]:
    """Processes of this machine that talk over encrypted loopback with a certificate made for the occasion."""
    from distributed import LocalCluster
    from distributed.security import Security

    if workers < 1:
        raise UsageError("There must be at least one worker.")
    made = LocalCluster(n_workers=workers, threads_per_worker=1, processes=True, host="127.0.0.1", protocol="tls",
                        security=Security.temporary(), dashboard_address=None, memory_limit=0,
                        silence_logs=logging.CRITICAL, worker_dashboard_address=None)
    with made as cluster, _manned(cluster, workers):
        yield cluster


@contextmanager
def _manned(cluster: Any, workers: int) -> Iterator[None]:
    """See that the workers stay as many as they were.

    Dask starts a process that died again, but gives up one that dies while it starts; without workers a cohort would
    wait for ever.
    """
    done = threading.Event()

    def tend() -> None:
        while not done.wait(_TEND_S):
            if len(cluster.scheduler_info["workers"]) < workers:
                cluster.scale(workers)

    tending = threading.Thread(target=tend, daemon=True)
    tending.start()
    try:
        yield
    finally:
        done.set()
        tending.join()


def _security(where: Where) -> Any:
    if where.ca is None:
        return None
    from distributed.security import Security

    return Security(tls_ca_file=str(where.ca), tls_client_cert=str(where.certificate), tls_client_key=str(where.key),
                    require_encryption=True)


def _went_away(future: Any) -> bool:
    """Whether the workers died under a file, or its outcome was lost on the way."""
    return bool(future.status in ("error", "cancelled", "lost"))


def _result(future: Any, job: Job) -> Outcome:
    outcome = future.result()
    return outcome if isinstance(outcome, Outcome) and outcome.key == job.key else lost(job)


def _here(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def installed() -> None:
    """Raises :class:`UsageError` when the packages of a cohort are absent."""
    try:
        import distributed  # noqa: F401
        import pyarrow  # noqa: F401
    except ImportError:
        raise UsageError("A cohort needs more packages. Install them with: pip install 'crownsole[cohort]'") from None
