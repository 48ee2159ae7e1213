"""The command `crownsole cohort`; everything heavy is imported late."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from listener.cohort.running import Order, Told

Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="A tree of recordings and transcripts.")]
Out = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="FOLDER", help="Where results go; else FOLDER-cohort, here."),
]
Names = Annotated[
    str | None,
    typer.Option("--names", metavar="PATTERN", help="Whose a file is, by its path: '{learner}/**/*{attempt}'"),
]
People = Annotated[
    Path | None,
    typer.Option("--people", metavar="FILE.csv", help="... or by a table with the columns file, learner, attempt."),
]
Workers = Annotated[
    int | None, typer.Option("--workers", "-w", min=1, max=256, help="Processes here; else one a core.")
]
Scheduler = Annotated[
    str | None,
    typer.Option("--scheduler", metavar="ADDRESS", help="A Dask scheduler, such as tls://192.0.2.7:8786"),
]
Ca = Annotated[Path | None, typer.Option("--tls-ca", metavar="FILE", help="Certificate authority of the scheduler.")]
Certificate = Annotated[Path | None, typer.Option("--tls-cert", metavar="FILE", help="Certificate to show to it.")]
Key = Annotated[Path | None, typer.Option("--tls-key", metavar="FILE", help="The key of that certificate.")]
Packs = Annotated[list[Path], typer.Option("--pack", "-p", metavar="FOLDER", help="A school's lexicon pack.")]
Checklist = Annotated[str, typer.Option("--checklist", "-c", metavar="NAME", help="What a run should have.")]
Age = Annotated[float | None, typer.Option("--age", metavar="YEARS", help="Age in years, when none is said.")]
Model = Annotated[Path | None, typer.Option("--model", "-m", metavar="FOLDER", help="A Vosk model folder.")]
Keep = Annotated[bool, typer.Option("--keep/--no-keep", help="Put the runs into the archive, sound included.")]
Place = Annotated[
    str | None,
    typer.Option("--archive", metavar="PLACE", envvar="CROWNSOLE_ARCHIVE", show_envvar=True,
                 help="A file, or the URL of a PostgreSQL database; else the user's data folder."),
]
Format = Annotated[str, typer.Option("--format", "-f", metavar="FORMAT", help="text, or json for machines.")]


def cohort(
    folder: Folder,
    output: Out = None,
    names: Names = None,
    people: People = None,
    workers: Workers = None,
    scheduler: Scheduler = None,
    tls_ca: Ca = None,
    tls_cert: Certificate = None,
    tls_key: Key = None,
    pack: Packs = [],  # noqa: B006
    checklist: Checklist = "complete",
    age: Age = None,
    model: Model = None,
    keep: Keep = True,
    archive: Place = None,
    format_: Format = "text",
) -> None:
    """Hear many recordings side by side; one table of them all, and one overview.

    \b
    crownsole cohort autumn/                           the first folder is the learner
    crownsole cohort autumn/ --names '{learner}_*{attempt}'
    crownsole cohort autumn/ --people who.csv --workers 2
    crownsole cohort autumn/ -o results --no-keep

    Files that are done are not done again: the same command goes on where it was broken off. A bad file is a
    line with its reason. Results: overview.html, runs, entries and remarks as CSV and Parquet, a page for each run.
    """
    from listener.bars import bar
    from listener.cohort.crew import Where
    from listener.cohort.files import find
    from listener.cohort.jobs import Setting
    from listener.cohort.running import Order, run
    from listener.errors import UsageError
    from listener.runs import options_of

    if format_ not in ("text", "json"):
        raise UsageError(f"A cohort is told as text or json, not as '{format_}'.")
    out = output or Path(f"{folder.resolve().name}-cohort")
    setting = Setting(options_of([path.resolve() for path in pack], checklist, age),
                      str(model.resolve()) if model else None)
    found = find(folder, names=names, people=people, leave=out)
    order = Order(folder, out, found, setting, Where(workers, scheduler, tls_ca, tls_cert, tls_key), keep, archive)
    with bar() as progress:
        told = run(order, progress)
    for line in _json(order, told) if format_ == "json" else _text(order, told):
        typer.echo(line)
    if told.exit_code:
        raise typer.Exit(told.exit_code)


def _text(order: Order, told: Told) -> Iterator[str]:
    from listener.cohort.overview import commonest
    from parser.debrief import CAUTION, WIDTH

    done = told.count("done")
    yield f"COHORT {order.folder}: {len(told.filed)} files, {done} with a record" + (
        f", {told.earlier} of them done before" if told.earlier else "")
    bad = [one for one in told.filed if one.outcome.state != "done"]
    if bad:
        yield ""
        yield "WITHOUT A RECORD"
        for one in bad:
            yield from wrap(f"{one.name}: {one.outcome.reason}", WIDTH, subsequent_indent="    ")
    omitted = commonest(told.filed)
    if omitted:
        yield ""
        yield "LEFT OUT MOST"
    for say, times in omitted:
        yield from wrap(f"{times} of {done}: {say}", WIDTH, subsequent_indent="    ")
    yield ""
    for remark in told.remarks:
        yield from wrap(remark, WIDTH)
    yield f"Overview: {order.out / 'overview.html'}"
    yield f"Tables:   {order.out / 'runs.csv'}, entries.csv, remarks.csv (and .parquet)"
    yield ""
    yield from wrap(CAUTION, WIDTH)


def _json(order: Order, told: Told) -> Iterator[str]:
    from listener.cohort.tables import SCHEMA

    yield json.dumps({
        "schema": SCHEMA,
        "folder": str(order.folder),
        "output": str(order.out),
        "seconds": round(told.seconds, 2),
        "done_before": told.earlier,
        "remarks": list(told.remarks),
        "files": [{
            "file": one.name, "learner": one.who.learner, "attempt": one.who.attempt, "state": one.outcome.state,
            "reason": one.outcome.reason or None, "page": one.page or None, "run": one.outcome.kept,
            "duration_s": one.outcome.duration_s, "spent": one.outcome.spent,
        } for one in told.filed],
    }, ensure_ascii=False)
