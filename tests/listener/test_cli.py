"""The commands as a stranger uses them: help, formats, bad input, exit codes."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from listener.cli import app
from listener.errors import EXIT_CODES

LINE = "abdomen soft no masses\n"
README = Path(__file__).parents[2] / "README.md"


def run(*arguments: str) -> tuple[int, str, str]:
    """Through the program's own entry point, as from a shell."""
    program = "from listener.cli import main; main()"
    done = subprocess.run([sys.executable, "-c", program, *arguments], capture_output=True, check=False)
    return done.returncode, done.stdout.decode(), done.stderr.decode()


def test_help_teaches_by_example_and_lists_the_exit_codes() -> None:
    text = CliRunner().invoke(app, ["--help"]).output
    assert "crownsole hear run.m4a" in text
    for code, meaning in EXIT_CODES.items():
        assert f"{code}  {meaning}" in text
    assert "not a medical device" in text


def test_the_readme_documents_the_same_exit_codes() -> None:
    table = README.read_text(encoding="utf-8")
    assert [
        f"| {code} | {meaning} |" for code, meaning in EXIT_CODES.items() if f"| {code} | {meaning} |" not in table
    ] == []


@pytest.mark.parametrize(
    ("name", "content", "code", "sentence"),
    [
        ("empty.txt", b"", 3, "is empty"),
        ("blank.txt", b" \n\t\n", 3, "is empty"),
        ("sound.wav", b"RIFF\0\0\0\0WAVE", 3, "is not text"),
    ],
)
def test_what_is_no_transcript_is_told(tmp_path: Path, name: str, content: bytes, code: int, sentence: str) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    done, _, told = run("read", str(path))
    assert done == code
    assert sentence in told
    assert len(told.strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("content", "encoding"),
    [
        ("\ufeff" + LINE, "utf-8"),
        (LINE.replace("\n", "\r\n"), "utf-8"),
        (LINE, "utf-16"),
        ("abdomen\x00soft no\x07 masses", "utf-16"),
        ("caf\xe9 " + LINE, "cp1252"),
    ],
)
def test_odd_text_is_read(tmp_path: Path, content: str, encoding: str) -> None:
    path = tmp_path / "run.txt"
    path.write_bytes(content.encode(encoding))
    done = CliRunner().invoke(app, ["read", str(path), "--format", "json"])
    entries = [e["concept"] for r in json.loads(done.stdout)["regions"] for e in r["entries"]]
    assert {"soft", "mass"} <= set(entries)


def test_a_bad_file_does_not_stop_the_others(tmp_path: Path) -> None:
    for name in ("a.txt", "b.txt"):
        (tmp_path / name).write_text(LINE)
    files = [str(tmp_path / name) for name in ("a.txt", "gone.txt", "b.txt")]
    done = CliRunner().invoke(app, ["read", *files, "--format", "json"])
    assert done.exit_code == 3
    assert [json.loads(line)["run"]["source"] for line in done.stdout.splitlines() if line.startswith("{")] == [
        "a.txt",
        "b.txt",
    ]


def test_an_existing_file_is_kept_unless_forced(tmp_path: Path) -> None:
    source, target = tmp_path / "a.txt", tmp_path / "note.txt"
    source.write_text(LINE)
    target.write_text("mine")
    code, _, told = run("read", str(source), "-o", str(target))
    assert (code, target.read_text()) == (6, "mine")
    assert "--force" in told
    code, _, _ = run("read", str(source), "-o", str(target), "--force")
    assert code == 0
    assert "bdomen" in target.read_text()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.txt", "note.txt"]


def test_an_invalid_pack_is_told_with_file_and_line(tmp_path: Path) -> None:
    (tmp_path / "findings").mkdir()
    (tmp_path / "findings" / "neck.yaml").write_text(
        "region: neck\nconcepts:\n  - id: x\n    label: x\n    form: [y]\n"
    )
    code, _, told = run("lexicon", "check", str(tmp_path))
    assert code == 5
    assert "neck.yaml, line" in told


def test_an_unknown_format_is_a_usage_error(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_text(LINE)
    code, _, told = run("read", str(tmp_path / "a.txt"), "--format", "papyrus")
    assert code == 2
    assert "papyrus" in told


def test_a_term_is_explained() -> None:
    done = CliRunner().invoke(app, ["lexicon", "explain", "bruit"])
    assert done.exit_code == 0
    assert "said as:" in done.output
    assert "stands in:" in done.output
