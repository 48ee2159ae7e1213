"""``crownsole write`` and the options of notes: what is printed, what is refused, nothing half written."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from listener.cli import app
from listener.errors import InputError
from listener.writing import record_from, records_in

RUN = "skin warm dry and intact\nblood pressure one eighteen over seventy six right arm sitting\nno edema\n"


def crownsole(*arguments: str, stdin: str | bytes | None = None) -> Result:
    return CliRunner().invoke(app, list(arguments), input=stdin)


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("runs")
    (folder / "run.txt").write_text(RUN)
    path = folder / "run.json"
    assert crownsole("read", str(folder / "run.txt"), "--format", "json", "-o", str(path)).exit_code == 0
    return path


def test_a_record_is_written_as_it_was_read(record: Path) -> None:
    again = crownsole("write", str(record))
    assert again.exit_code == 0
    assert again.output == crownsole("read", str(record.with_suffix(".txt"))).output


def test_a_record_comes_from_standard_input_too(record: Path) -> None:
    made = crownsole("write", "-", "--note", "handoff", stdin=record.read_text())
    assert made.exit_code == 0
    assert "HANDOFF (SBAR)" in made.output


def test_json_lines_give_a_note_a_line(record: Path, tmp_path: Path) -> None:
    line = json.dumps(json.loads(record.read_text()))
    (tmp_path / "runs.jsonl").write_text(f"{line}\n{line}\n")
    made = crownsole("write", str(tmp_path / "runs.jsonl"), "--format", "json")
    assert [json.loads(each)["schema"] for each in made.output.splitlines()] == ["crownsole-record/1"] * 2


def test_the_check_of_a_note_tells_how_much_came_back(record: Path) -> None:
    made = crownsole("write", str(record), "--check-note")
    assert made.exit_code == 0
    assert "facts of the record were read back" in made.output


@pytest.mark.parametrize(
    ("option", "value", "told"),
    [
        ("--format", "parchment", "'parchment' is none of"),
        ("--note", "ode", "'ode' is none of"),
        ("--paper", "a3", "'a3' is none of"),
    ],
)
def test_an_unknown_choice_is_refused(record: Path, option: str, value: str, told: str) -> None:
    made = crownsole("write", str(record), option, value)
    assert made.exit_code == 2
    assert told in made.output


def test_an_existing_file_is_kept_unless_forced(record: Path, tmp_path: Path) -> None:
    target = tmp_path / "note.pdf"
    target.write_text("mine")
    refused = crownsole("write", str(record), "--format", "pdf", "-o", str(target))
    assert refused.exit_code != 0
    assert target.read_text() == "mine"
    assert crownsole("write", str(record), "--format", "pdf", "-o", str(target), "--force").exit_code == 0
    assert target.read_bytes().startswith(b"%PDF")
    assert [path.name for path in tmp_path.iterdir()] == ["note.pdf"]


def test_a_bad_template_is_told(record: Path, tmp_path: Path) -> None:
    (tmp_path / "own.docx").write_text("no")
    target = tmp_path / "note.docx"
    made = crownsole(
        "write", str(record), "--format", "docx", "-o", str(target), "--template", str(tmp_path / "own.docx")
    )
    assert made.exit_code == 2
    assert "no Word document" in made.output
    assert not target.exists()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("{", "is not JSON"),
        ("[1]", "is no record"),
        (
            '{"schema": "crownsole-record/2"}',
            "is of the contract crownsole-record/2; this version reads crownsole-record/1",
        ),
        ('{"schema": "crownsole-record/1"}', "does not fit crownsole-record/1"),
    ],
)
def test_what_is_no_record_is_told_in_one_sentence(text: str, told: str) -> None:
    with pytest.raises(InputError) as caught:
        record_from(text, "x.json")
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)


def test_an_empty_or_missing_file_is_told(tmp_path: Path) -> None:
    (tmp_path / "empty.json").write_text("")
    for path, told in ((tmp_path / "empty.json", "is empty"), (tmp_path / "none.json", "cannot be read")):
        with pytest.raises(InputError, match=told):
            list(records_in(path))


def test_a_bad_file_does_not_stop_the_others(record: Path, tmp_path: Path) -> None:
    made = crownsole("write", str(tmp_path / "none.json"), str(record), "--format", "markdown")
    assert made.exit_code == 3
    assert "cannot be read" in made.output
    assert "Skin is warm, dry and intact" in made.output
