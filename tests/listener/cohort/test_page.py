"""The cohort of the archive as a page: the latest run of each learner, and only what a visitor may see."""

from __future__ import annotations

from pathlib import Path

from listener.archive import open_archive
from listener.pages.app import create_app
from listener.pages.cohort import routes
from listener.pages.serving import running
from tests.listener.learners import attempts, insert
from tests.listener.pages.live import asked, ours


def test_the_cohort_page_shows_each_learners_latest_run(tmp_path: Path) -> None:
    with open_archive(tmp_path / "archive.sqlite3") as archive:
        for one in attempts(3, 2):
            insert(archive, one)
        everyone = routes(archive)
        one_learner = routes(archive, lambda request: lambda learner: learner == "L-02")
        for room, learners in ((everyone, {"L-01", "L-02", "L-03"}), (one_learner, {"L-02"})):
            with running(lambda gate, room=room: create_app(gate, room)) as gate:  # type: ignore[misc]
                status, _, told = asked(gate, "GET", "/cohort", {**ours(gate), "Accept": "text/html"})
                refused, _, _ = asked(gate, "GET", "/cohort", {"Host": gate.hosts[0]})
            assert (status, refused) == (200, 403)
            assert {name for name in ("L-01", "L-02", "L-03") if name in told} == learners
            assert f"{2 * len(learners)} runs of {len(learners)} learner" in told
            assert "run 2" in told
