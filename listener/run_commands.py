"""Commands for live runs in the terminal and for the runs in the archive; everything heavy is imported late."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from lexicon import Lexicon
    from listener.archive import Archive, RunInfo
    from parser.record import Record

runs_app = typer.Typer(no_args_is_help=True, rich_markup_mode=None, help="List, show, hand on and remove kept runs.")

Place = Annotated[
    str | None,
    typer.Option(
        "--archive",
        metavar="PLACE",
        envvar="CROWNSOLE_ARCHIVE",
        show_envvar=True,
        help="A file, or the URL of a PostgreSQL database; else the user's data folder.",
    ),
]
RunName = Annotated[str, typer.Argument(metavar="RUN", help="The id, the beginning of it, or: last")]


Source = Annotated[
    str | None, typer.Argument(metavar="[-]", help="- takes raw sound from standard input: 16-bit little-endian mono.")
]
Terminal = Annotated[bool, typer.Option("--terminal", help="Show the run in this terminal.")]
Typed = Annotated[bool, typer.Option("--words", help="Standard input is words, an utterance a line, not sound.")]
Resumed = Annotated[str | None, typer.Option("--run", metavar="RUN", help="Go on with this run, or: last")]
Rate = Annotated[int, typer.Option("--rate", metavar="HZ", help="Sample rate of raw sound.")]
Device = Annotated[str | None, typer.Option("--device", metavar="NAME", help="Which microphone.")]
ModelPath = Annotated[Path | None, typer.Option("--model", "-m", metavar="FOLDER", help="A Vosk model folder.")]
Packs = Annotated[list[Path], typer.Option("--pack", "-p", metavar="FOLDER", help="A school's lexicon pack.")]
Checklist = Annotated[str, typer.Option("--checklist", "-c", metavar="NAME", help="What a run should have.")]
Stock = Annotated[bool, typer.Option("--stock-vocabulary", help="Hear with the model as it came.")]
Learner = Annotated[str | None, typer.Option("--learner", metavar="NAME", help="Whose run it is: a name or a code.")]
Port = Annotated[int | None, typer.Option("--port", metavar="N", help="Serve the page on this port.")]
NoBrowser = Annotated[bool, typer.Option("--no-browser", help="Print the address of the page; open no browser.")]
Format = Annotated[
    str, typer.Option("--format", "-f", metavar="FORMAT", help="text, json, or any that `crownsole formats` lists.")
]
Output = Annotated[Path | None, typer.Option("-o", "--output", metavar="FILE", help="Write here.")]
Force = Annotated[bool, typer.Option("--force", help="Write over an existing file.")]
Again = Annotated[bool, typer.Option("--again", help="Read the run anew from its words, with the lexicon of now.")]
AsEvents = Annotated[bool, typer.Option("--events", help="The run as it happened: one event a line, as JSON.")]


def live(
    source: Source = None, *, terminal: Terminal = False, words: Typed = False, run: Resumed = None, rate: Rate = 16000,
    device: Device = None, model: ModelPath = None, pack: Packs = [], checklist: Checklist = "complete",  # noqa: B006
    stock: Stock = False, archive: Place = None, learner: Learner = None, port: Port = None,
    no_browser: NoBrowser = False,
) -> None:
    """Practise hands-free: speak, and see the run fill. Say "recorder help" for what can be asked by voice.

    \b
    crownsole live                             on a page in the browser, served on this machine alone
    crownsole live --no-browser                the same; the address is printed and opened by hand
    crownsole live --terminal                  from the microphone
    arecord -q -t raw -f S16_LE -r 16000 -c 1 | crownsole live --terminal -
    crownsole live --terminal --words - < run.txt
    crownsole live --terminal --run last       go on with a run that broke off

    Every utterance and all sound is kept as it comes. Ctrl-C or "recorder finish" ends the run.
    """
    from listener.errors import UsageError

    packs = tuple(map(str, pack))
    if terminal:
        from listener.live_run import Wishes, practise

        if source not in (None, "-"):
            raise UsageError("Live sound comes from the microphone, or with - from standard input. "
                             "A file is heard with: crownsole hear")
        practise(Wishes(words, source == "-", run, rate, device, model, packs, checklist, stock, archive, learner))
        return
    if source is not None or words or device or rate != 16000:
        raise UsageError("Typed words, raw sound and --device go with the terminal. Add --terminal")
    from listener.pages.starting import Wishes as PageWishes
    from listener.pages.starting import practise as practise_on_page

    practise_on_page(PageWishes(run, port, not no_browser, model, packs, checklist, learner, stock, archive))


@runs_app.command("list")
def list_(archive: Place = None) -> None:
    """List the kept runs, the newest first."""
    with _opened(archive) as store:
        runs = store.runs()
        for info in runs:
            typer.echo(_line(info))
        if not runs:
            typer.echo(f"{store.name} holds no runs yet.", err=True)


@runs_app.command()
def show(
    run: RunName, *, archive: Place = None, format_: Format = "text", output: Output = None, force: Force = False,
    again: Again = False, events: AsEvents = False,
) -> None:
    """Show the record, audit and note of a kept run.

    \b
    crownsole runs show last
    crownsole runs show last --again --format json
    """
    from listener.output import emit

    with _opened(archive) as store:
        info = store.run(run)
        if events:
            _emit_events(store, info)
            return
        from listener.packs_used import told
        from parser.note import FORMATS, write

        if format_ not in FORMATS:
            raise typer.BadParameter(f"'{format_}' is none of {', '.join(FORMATS)}", param_hint="--format")
        record, lexicon = _record(store, info, again=again)
        if info.status != "finished":
            typer.echo(f"Run {info.id}: {info.status}; this is what was kept up to now.", err=True)
        for sentence in told(record, lexicon):
            typer.echo(f"crownsole: {sentence}", err=True)
        emit(write(record, lexicon, format_), output, force=force)


@runs_app.command()
def again(
    run: RunName,
    take: Annotated[bool, typer.Option("--take", help="File what was read anew; what was filed is kept.")] = False,
    archive: Place = None,
) -> None:
    """Read a run anew with the lexicon of now, and show what that would change, before it is taken."""
    from listener.archive.reading import differences, file_again
    from listener.packs_used import told

    with _opened(archive) as store:
        info = store.run(run)
        before, lexicon = _record(store, info, again=False)
        after, _ = _record(store, info, again=True)
        for sentence in told(before, lexicon):
            typer.echo(f"crownsole: {sentence}", err=True)
        lines = list(differences(before, after, lexicon))
        for line in lines:
            typer.echo(line)
        if not lines:
            typer.echo("No entry would change.", err=True)
        if take:
            file_again(store, info.id, after)
            typer.echo(f"Run {info.id} is filed as read anew.", err=True)
        elif lines:
            typer.echo("Nothing was changed. To take it, add --take", err=True)


@runs_app.command()
def export(
    run: RunName,
    output: Annotated[
        Path | None, typer.Option("-o", "--output", metavar="FILE", help="Default: crownsole-RUN.zip")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over an existing file.")] = False,
    archive: Place = None,
) -> None:
    """Write a run to one file: its record, events and sound, with hashes.

    \b
    crownsole runs export last -o monday.zip
    """
    from listener.archive.exchange import export as write_run

    with _opened(archive) as store:
        info = store.run(run)
        record, _ = _record(store, info, again=False)
        target = output or Path(f"crownsole-{info.id}.zip")
        write_run(store, info.id, record, target, force=force)
        typer.echo(f"Run {info.id} is in {target}")


@runs_app.command("import")
def import_(files: Annotated[list[Path], typer.Argument(metavar="FILE...")], archive: Place = None) -> None:
    """Take runs from files that `crownsole runs export` wrote; one that was changed is refused."""
    from listener.archive.exchange import bring_in
    from listener.errors import CrownsoleError

    worst = 0
    with _opened(archive) as store:
        for path in files:
            try:
                typer.echo(_line(bring_in(store, path)))
            except CrownsoleError as error:
                typer.echo(f"crownsole: {error}", err=True)
                worst = max(worst, error.exit_code)
    if worst:
        raise typer.Exit(worst)


@runs_app.command()
def remove(
    run: RunName, yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False, archive: Place = None
) -> None:
    """Remove a whole run for good, its sound included."""
    from listener.errors import UsageError

    with _opened(archive) as store:
        info = store.run(run)
        typer.echo(f"This removes a run with its sound, words and changes, for good:\n{_line(info)}", err=True)
        if not yes and not sys.stdin.isatty():
            raise UsageError("Nothing was removed. Confirm with --yes.")
        if not yes and not typer.confirm("Remove it?", err=True):
            typer.echo("Nothing was removed.")
            return
        store.remove(info.id)
        typer.echo(f"Run {info.id} was removed, its sound included.")


@runs_app.command()
def assign(
    run: RunName,
    learner: Annotated[str | None, typer.Option("--learner", metavar="NAME", help="A name or a code.")] = None,
    attempt: Annotated[int | None, typer.Option("--attempt", metavar="N", help="Which attempt, from 1.")] = None,
    archive: Place = None,
) -> None:
    """Say whose a kept run is, and which attempt; without options, that it is nobody's. What was said before is kept.

    \b
    crownsole runs assign last --learner L-07 --attempt 2
    """
    with _opened(archive) as store:
        info = store.assign(run, learner, attempt, by="operator")
        typer.echo(f"{_line(info)}  {info.learner or 'nobody'}{f', attempt {info.attempt}' if info.attempt else ''}")


@runs_app.command()
def check(
    run: Annotated[str | None, typer.Argument(metavar="[RUN]", help="All runs, when none is named.")] = None,
    archive: Place = None,
) -> None:
    """Check that kept runs are as they were written: every hash anew, every piece of sound decoded."""
    from listener.archive.reading import faults
    from listener.errors import StorageError

    with _opened(archive) as store:
        found = 0
        for info in [store.run(run)] if run else store.runs():
            wrong = list(faults(store, info.id))
            found += len(wrong)
            typer.echo(f"{info.id}  {'as it was written' if not wrong else '; '.join(wrong)}")
    if found:
        raise StorageError(f"{found} faults were found. Nothing was changed; bring back a copy of the archive.")


@contextmanager
def _opened(place: str | None) -> Iterator[Archive]:
    from listener.archive import open_archive

    with open_archive(place) as archive:
        yield archive


def _record(store: Archive, info: RunInfo, *, again: bool) -> tuple[Record, Lexicon]:
    """The record as it stands, or read anew: when asked, or when the run was not ended."""
    from listener.archive.reading import read_again
    from listener.packs_used import lexicon_for
    from listener.reviewing import standing_record
    from listener.runs import Options, lexicon_of

    filed = info.status == "finished" and not again
    lexicon = lexicon_for(info) if filed else lexicon_of(Options(info.head.packs, info.head.checklist))
    return (read_again if again else standing_record)(store, info.id, lexicon), lexicon


def _emit_events(store: Archive, info: RunInfo) -> None:
    import json

    for event in store.events(info.id):
        told = {"number": event.number, "kind": event.kind, "at": event.at, "body": dict(event.body)}
        typer.echo(json.dumps({**told, "hash": event.hash}, ensure_ascii=False))


def _line(info: RunInfo) -> str:
    from datetime import datetime

    from listener.wording import clock

    made = datetime.fromisoformat(info.head.made_at).astimezone().strftime("%Y-%m-%d %H:%M")
    long = f"{clock(info.seconds):>7}  {info.utterances:4} utterances"
    return f"{info.id}  {made}  {info.head.kind:4}  {info.status:11}  {long}  {info.head.source}"
