"""The command line. Commands are thin: each reads its options and calls one function.

Everything heavy is imported inside the commands, so that help comes at once.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from listener import lexicon_commands, review_command, run_commands
from listener.cohort import commands as cohort_commands
from listener.errors import EXIT_CODES, CrownsoleError
from listener.marking import commands as mark_commands
from listener.progress import commands as progress_commands
from listener.school import commands as school_commands
from listener.writing import Writing

if TYPE_CHECKING:
    from listener.runs import Options
    from parser.record import Record

_CODES = "\n".join(f"  {code:>3}  {meaning}" for code, meaning in EXIT_CODES.items())
_CAUTION = (
    "A practice and documentation aid, not a medical device. Local policy and a licensed clinician decide. "
    "No recording leaves this machine."
)

app = typer.Typer(
    name="crownsole",
    no_args_is_help=True,
    rich_markup_mode=None,
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
model_app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Show, fetch and verify the acoustic model; build the vocabulary."
)
lexicon_app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Make, check and compare packs; explain a term; list; schema."
)
lexicon_app.command()(lexicon_commands.new)
lexicon_app.command()(lexicon_commands.diff)
app.add_typer(model_app, name="model")
app.add_typer(lexicon_app, name="lexicon")
app.add_typer(run_commands.runs_app, name="runs")
app.add_typer(mark_commands.mark_app, name="mark")
app.command()(run_commands.live)
app.command()(review_command.review)
app.command()(progress_commands.progress)
app.command()(school_commands.serve)
app.add_typer(school_commands.people_app, name="people")
app.command()(cohort_commands.cohort)

Packs = Annotated[
    list[Path],
    typer.Option("--pack", "-p", metavar="FOLDER", help="A school's lexicon pack; may be given more than once."),
]
Checklist = Annotated[
    str, typer.Option("--checklist", "-c", metavar="NAME", help="What a run should have: complete, or a focused list.")
]
Age = Annotated[
    float | None, typer.Option("--age", metavar="YEARS", help="Age in years, when none is said in the run.")
]
PressureTable = Annotated[
    str,
    typer.Option("--pressure-table", metavar="NAME", help="Categories of blood pressure: aha_acc_2025 or esc_2024."),
]
News2Scale = Annotated[
    int,
    typer.Option("--news2-scale", metavar="1|2", help="Saturation scale of NEWS2; 2 only where a clinician chose it."),
]
Format = Annotated[
    str,
    typer.Option("--format", "-f", metavar="FORMAT", help="text, json, or any other that `crownsole formats` lists."),
]
Output = Annotated[
    Path | None,
    typer.Option("-o", "--output", metavar="FILE", help="Write here; the file appears when it is complete."),
]
Force = Annotated[bool, typer.Option("--force", help="Write over an existing file.")]
Note = Annotated[
    str,
    typer.Option(
        "--note", metavar="WORDING", help="narrative, exception (only what is not as expected) or handoff (SBAR)."
    ),
]
Trace = Annotated[bool, typer.Option("--trace", help="Name under every sentence the words it comes from.")]
Check = Annotated[
    bool, typer.Option("--check-note", help="Read the note back and tell every difference from the record.")
]
Template = Annotated[
    Path | None, typer.Option("--template", metavar="FILE", help="A Word file whose styles a docx note takes.")
]
Paper = Annotated[str, typer.Option("--paper", metavar="SIZE", help="Paper of a pdf: a4 or us-letter.")]
Keep = Annotated[bool, typer.Option("--keep", help="Keep the run in the archive, sound included; see: crownsole runs")]
Learner = Annotated[str | None, typer.Option("--learner", metavar="NAME", help="With --keep: whose run it is.")]
Attempt = Annotated[int | None, typer.Option("--attempt", metavar="N", help="With --keep: which attempt, from 1.")]
ModelPath = Annotated[
    Path | None,
    typer.Option("--model", "-m", metavar="FOLDER", help="A Vosk model folder; else the stock model, fetched once."),
]


@app.callback(epilog=f"Exit codes:\n\n\b\n{_CODES}\n\n{_CAUTION}")
def about() -> None:
    """Rehearse a head-to-toe assessment aloud; get the record, the audit and the note.

    \b
    crownsole hear run.m4a                    hear a recording, print record, audit and note
    crownsole read run.txt                    the same from a transcript
    crownsole read - < run.txt                ... from standard input
    crownsole hear *.wav --format json        one JSON document a file, one a line
    crownsole lexicon explain bruit           what a term means to the tool
    """


@app.command()
def hear(
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="Sound or video files in any common format.")],
    format_: Format = "text",
    output: Output = None,
    force: Force = False,
    model: ModelPath = None,
    pack: Packs = [],  # noqa: B006
    checklist: Checklist = "complete",
    age: Age = None,
    pressure_table: PressureTable = "aha_acc_2025",
    news2_scale: News2Scale = 1,
    stock: Annotated[
        bool,
        typer.Option("--stock-vocabulary", help="Hear with the model as it came, without the lexicon's vocabulary."),
    ] = False,
    isolate: Annotated[bool, typer.Option("--isolate", help="Hear each file in a process of its own.")] = False,
    keep: Keep = False,
    learner: Learner = None,
    attempt: Attempt = None,
    note: Note = "narrative",
    trace: Trace = False,
    check: Check = False,
    template: Template = None,
    paper: Paper = "a4",
) -> None:
    """Hear recordings: record, audit and note of each.

    \b
    crownsole hear run.wav
    crownsole hear run.mp4 --format json -o run.json
    crownsole hear monday.flac tuesday.flac --format json > runs.jsonl

    The acoustic model is fetched the first time. A file that cannot be read does not stop the others.
    """
    from listener.bars import bar
    from listener.runs import hear as hear_one
    from listener.runs import options_of, prepare_ears, whose_run

    options, who = options_of(pack, checklist, age, pressure_table, news2_scale), whose_run(learner, attempt, keep)
    with bar() as progress:
        ears = prepare_ears(model, options, stock=stock, progress=progress)
        _each(
            files,
            lambda path: hear_one(path, ears, options, progress=progress, isolate=isolate, keep=keep, who=who),
            Writing(format_, note, trace, check, template, paper, output, force),
            options,
        )


@app.command()
def read(
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="Transcripts; - reads standard input.")],
    format_: Format = "text",
    output: Output = None,
    force: Force = False,
    pack: Packs = [],  # noqa: B006
    checklist: Checklist = "complete",
    age: Age = None,
    pressure_table: PressureTable = "aha_acc_2025",
    news2_scale: News2Scale = 1,
    keep: Keep = False,
    learner: Learner = None,
    attempt: Attempt = None,
    note: Note = "narrative",
    trace: Trace = False,
    check: Check = False,
    template: Template = None,
    paper: Paper = "a4",
) -> None:
    """Read transcripts: one utterance a line, or running text.

    \b
    crownsole read run.txt
    crownsole read - --format json < run.txt
    crownsole read run.txt --note handoff --trace
    crownsole read run.txt --format pdf -o run.pdf
    """
    from listener.runs import kept, options_of, read_text, record_of, whose_run

    options, who = options_of(pack, checklist, age, pressure_table, news2_scale), whose_run(learner, attempt, keep)

    def one(path: Path) -> Record:
        piped = sys.stdin.buffer.read() if str(path) == "-" else None
        transcript = read_text(path, piped)
        return kept(transcript, options, who=who) if keep else record_of(transcript, options)

    _each(files, one, Writing(format_, note, trace, check, template, paper, output, force), options)


@app.command()
def write(
    files: Annotated[
        list[Path],
        typer.Argument(metavar="RECORD.json...", help="Records as JSON or JSON Lines; - reads standard input."),
    ],
    format_: Format = "text",
    output: Output = None,
    force: Force = False,
    pack: Packs = [],  # noqa: B006
    note: Note = "narrative",
    trace: Trace = False,
    check: Check = False,
    template: Template = None,
    paper: Paper = "a4",
) -> None:
    """Write records anew, in any format: nothing is heard or understood again.

    \b
    crownsole write run.json --format docx -o run.docx
    crownsole read run.txt --format json | crownsole write - --note handoff
    """
    from listener.runs import lexicon_of, options_of
    from listener.writing import sources_of, write_each

    how = Writing(format_, note, trace, check, template, paper, output, force)
    if worst := write_each(sources_of(files, sys.stdin.buffer.read), lexicon_of(options_of(pack, "complete")), how):
        raise typer.Exit(worst)


@app.command()
def formats() -> None:
    """List the formats that records and notes can be written in."""
    from parser.note import FORMATS

    for name, kind in FORMATS.items():
        typer.echo(f"{name:10} {kind.meaning}")


def _each(files: list[Path], make: Callable[[Path], Record], how: Writing, options: Options) -> None:
    """Make and write the record of every file; a bad one is told and does not stop the others."""
    from listener.runs import lexicon_of
    from listener.writing import write_each

    sources = [(path.name, partial(make, path)) for path in files]
    if worst := write_each(sources, lexicon_of(options), how):
        raise typer.Exit(worst)


@model_app.command("show")
def model_show(model: ModelPath = None) -> None:
    """Show which model would be used, and whether it is complete."""
    from listener.model import find_model

    folder = find_model(model, fetch=False)
    typer.echo(f"{folder.name}\n{folder.path}\n{'the stock model' if folder.stock else 'a model of your own'}")
    typer.echo("vocabulary: " + ("can be compiled from the lexicon" if folder.replaceable else "used as it came"))
    _lines(folder.remarks)


@model_app.command("fetch")
def model_fetch() -> None:
    """Fetch the stock model, verify it, and put it in place."""
    from listener.bars import bar
    from listener.model import find_model

    with bar() as progress:
        folder = find_model(progress=progress)
    typer.echo(f"The model is at {folder.path}")
    _lines(folder.remarks)


@model_app.command("verify")
def model_verify() -> None:
    """Check every file of the stock model against its SHA-256."""
    from listener.bars import bar
    from listener.errors import ModelError
    from listener.model import find_model, verify_stock

    folder = find_model(fetch=False)
    if not folder.stock:
        raise ModelError(f"{folder.path} is not the stock model; only that one has known sums.")
    with bar() as progress:
        faults = verify_stock(folder.path, progress)
    if faults:
        raise ModelError(f"The model in {folder.path} is damaged ({faults}). Run: crownsole model fetch")
    typer.echo(f"Every file of {folder.path} is as published.")


@model_app.command("build")
def model_build(model: ModelPath = None, pack: Packs = []) -> None:  # noqa: B006
    """Compile the lexicon's vocabulary into a copy of the model (done by itself when first needed)."""
    from listener.bars import bar
    from listener.runs import options_of, prepare_ears

    with bar() as progress:
        ears = prepare_ears(model, options_of(pack, "complete"), progress=progress)
    typer.echo(f"Vocabulary {ears.info.vocabulary} is at {ears.folder.path}")


@model_app.command("explain")
def model_explain(term: str, model: ModelPath = None, pack: Packs = []) -> None:  # noqa: B006
    """Tell how a word or phrase is heard: as it is, or as which sound-alike words."""
    from listener.bars import bar
    from listener.model import find_model
    from listener.runs import lexicon_of, options_of
    from listener.vocabulary import compiled, explain

    lexicon = lexicon_of(options_of(pack, "complete"))
    with bar() as progress:
        made = compiled(find_model(model, progress=progress), lexicon, progress=progress)
    _lines(str(explanation) for explanation in explain(term, made, lexicon))


@lexicon_app.command("check")
def lexicon_check(packs: Annotated[list[Path], typer.Argument(metavar="[FOLDER]...")] = []) -> None:  # noqa: B006
    """Check the lexicon, with any packs laid over it; every fault is told with file and line."""
    from listener.errors import LexiconInvalid
    from listener.lexicon_diff import check_rubrics
    from listener.lexicon_view import counts
    from listener.runs import lexicon_of, options_of

    lexicon = lexicon_of(options_of(packs, "complete"))
    if wrong := check_rubrics(lexicon):
        raise LexiconInvalid("\n".join(wrong))
    typer.echo(counts(lexicon))
    _lines(pack.signature for pack in lexicon.signed)


@lexicon_app.command("explain")
def lexicon_explain(term: str, pack: Packs = []) -> None:  # noqa: B006
    """Explain a term: what it stands for, where it belongs, how it can be said."""
    from listener.lexicon_view import explained
    from listener.runs import lexicon_of, options_of

    _lines(explained(term, lexicon_of(options_of(pack, "complete"))))


@lexicon_app.command("list")
def lexicon_list(
    kind: Annotated[str, typer.Argument(help="regions, sites, concepts, measures, scales or sources")] = "concepts",
    pack: Packs = [],  # noqa: B006
) -> None:
    """List entries of one kind, one a line."""
    from listener.lexicon_view import listed
    from listener.runs import lexicon_of, options_of

    _lines(listed(kind, lexicon_of(options_of(pack, "complete"))))


@lexicon_app.command("schema")
def lexicon_schema() -> None:
    """Print the JSON schema of the record contract, crownsole-record/1."""
    import json

    from parser.record import Record

    typer.echo(json.dumps(Record.model_json_schema(mode="serialization"), indent=2))


def _lines(lines: Iterable[str]) -> None:
    for line in lines:
        typer.echo(line)


def main() -> None:
    """Entry point: errors become one sentence and an exit code."""
    try:
        app(standalone_mode=True)
    except CrownsoleError as error:
        typer.echo(f"crownsole: {error}", err=True)
        sys.exit(error.exit_code)
    except KeyboardInterrupt:
        typer.echo("crownsole: interrupted", err=True)
        sys.exit(130)
