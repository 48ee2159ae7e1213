"""School packs from first to last: started, checked, compared; the example's term is heard, read, marked, written."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from lexicon import load
from lexicon.phrasing import faults as phrase_faults
from listener.cli import app
from listener.errors import CrownsoleError, ModelError
from listener.model import find_model
from listener.new_pack import name_of
from parser.record import Record

SAMPLES = Path(__file__).parents[1] / "samples"
PACK, RUN = SAMPLES / "fernhollow_pack", SAMPLES / "fernhollow_run.txt"


def said(*arguments: object) -> str:
    done = CliRunner().invoke(app, [str(argument) for argument in arguments])
    assert done.exit_code == 0, (done.output, done.exception)
    return done.stdout


def refused(*arguments: object) -> CrownsoleError:
    done = CliRunner().invoke(app, [str(argument) for argument in arguments])
    assert isinstance(done.exception, CrownsoleError), done.output
    return done.exception


# ---------------------------------------------------------------------- a new pack


@pytest.fixture(scope="module")
def fresh(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("packs") / "Our School"
    said("lexicon", "new", folder)
    return folder


def test_a_new_pack_is_in_order_as_it_is(fresh: Path) -> None:
    told = said("lexicon", "check", fresh)
    assert "The lexicon is in order" in told
    assert "our-school 0.1.0 sha256:" in told
    assert not list(phrase_faults(load([fresh])))


def test_every_file_of_a_new_pack_is_explained_and_has_the_name(fresh: Path) -> None:
    files = [path for path in fresh.rglob("*") if path.is_file()]
    assert {"pack.yaml", "README.md", "rubric.yaml", "note.yaml", "sources.yaml"} <= {path.name for path in files}
    for path in files:
        text = path.read_text(encoding="utf-8")
        assert text.startswith("#")
        assert "NAME_OF_THE_PACK" not in text
    assert not [path for path in fresh.parent.iterdir() if path != fresh]


def test_a_new_pack_only_adds_and_is_used_at_once(fresh: Path, tmp_path: Path) -> None:
    made = json.loads(said("lexicon", "diff", fresh, "--format", "json"))
    assert made["before"] is None
    assert made["breaking"] == 0
    (tmp_path / "run.txt").write_text("skin warm\nwhite spots on the nails\nallergies verified", encoding="utf-8")
    told = said("mark", tmp_path / "run.txt", "--pack", fresh, "--rubric", "school")
    assert "2 of 2  color of the nails: “white spots on the nails”" in told
    assert "said as:" in said("lexicon", "explain", "leukonychia", "--pack", fresh)


def test_a_folder_that_holds_something_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    error = refused("lexicon", "new", tmp_path)
    assert error.exit_code == 6
    assert "not empty" in str(error)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


@pytest.mark.parametrize(
    ("folder", "name"), [("Our School", "our-school"), ("ÄÖ-2026", "2026"), ("a__b", "a__b"), ("x" * 80, "x" * 60)]
)
def test_the_name_of_a_pack_comes_from_its_folder(folder: str, name: str) -> None:
    assert name_of(Path(folder)) == name


# ---------------------------------------------------------------------- two versions


def version(folder: Path, number: str, **changes: tuple[str, str]) -> Path:
    shutil.copytree(PACK, folder)
    for name, (old, new) in {"pack": ("1.2.0", number), **changes}.items():
        path = folder / f"{name.replace('__', '/')}.yaml"
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new), encoding="utf-8")
    return folder


@pytest.mark.parametrize(
    ("number", "changes", "advice"),
    [
        ("1.2.0", {}, None),
        ("1.2.1", {}, None),
        ("1.2.0", {"rubric": ("points: 2", "points: 3")}, "raise the version, for instance to 2.0.0"),
        ("1.3.0", {"rubric": ("points: 2", "points: 3")}, "raise the first number, to 2.0.0"),
        ("2.0.0", {"rubric": ("points: 2", "points: 3")}, None),
        ("1.2.0", {"note": ("Fernhollow skills room", "The skills room")}, "raise the version, for instance to 1.3.0"),
        ("1.2.1", {"note": ("Fernhollow skills room", "The skills room")}, None),
    ],
)
def test_the_version_that_is_due_is_told(
    tmp_path: Path, number: str, changes: dict[str, tuple[str, str]], advice: str | None
) -> None:
    new = version(tmp_path / "new", number, **changes)
    made = json.loads(said("lexicon", "diff", PACK, new, "--format", "json"))
    assert (made["advice"] is None) == (advice is None)
    assert advice is None or advice in made["advice"]
    text = said("lexicon", "diff", PACK, new)
    assert ("RUNS MADE BEFORE WOULD COME OUT OTHERWISE (1)" in text) == ("rubric" in changes)
    assert f"fernhollow 1.2.0 -> fernhollow {number}" in text


def test_a_bad_pack_is_told_when_it_is_compared(tmp_path: Path) -> None:
    bad = version(tmp_path / "bad", "1.3.0", rubric=("swelling_signs", "swelling_sign"))
    error = refused("lexicon", "diff", PACK, bad)
    assert error.exit_code == 5
    assert f"{bad / 'rubric.yaml'}, line 10: there is no checklist item 'swelling_sign'; did you mean" in str(error)
    assert refused("lexicon", "diff", PACK, tmp_path / "gone").exit_code == 3


def test_a_rubric_that_only_shows_its_fault_when_put_together_is_told_by_check(tmp_path: Path) -> None:
    rubric = "rubrics:\n  - {id: x, title: X, based_on: complete, checklist: skin, source: C, to_pass: {critical: 5}}\n"
    (tmp_path / "rubric.yaml").write_text(rubric, encoding="utf-8")
    error = refused("lexicon", "check", tmp_path)
    assert error.exit_code == 5
    assert "rubric.yaml, line 2: the rubric 'x' cannot be passed: it asks for 5 critical steps and has 4" in str(error)


# ---------------------------------------------------------------------- the example, from first to last


def test_the_examples_term_is_read_checked_marked_and_written() -> None:
    built_in = Record.model_validate_json(said("read", RUN, "--format", "json"))
    assert "stemmer_sign" not in {entry.concept for _, entry in built_in.entries().values()}
    made = Record.model_validate_json(
        said("read", RUN, "--pack", PACK, "--checklist", "fernhollow", "--format", "json")
    )
    found = [(e.status, e.side, region) for region, e in made.entries().values() if e.concept == "stemmer_sign"]
    assert found == [("present", "left", "lower_extremities"), ("absent", "right", "lower_extremities")]
    assert made.run.lexicon.packs == (load([PACK]).signed[0].signature,)
    page = said("read", RUN, "--pack", PACK, "--checklist", "fernhollow", "--note", "narrative")
    assert "Fernhollow skills room: note of a practice run" in said("read", RUN, "--pack", PACK, "--format", "markdown")
    assert "Stemmer sign on the left noted." in page
    marking = json.loads(said("mark", RUN, "--pack", PACK, "--rubric", "fernhollow", "--format", "json"))
    (step,) = (m for s in marking["stations"] for m in s["marks"] if m["step"] == "swelling_signs")
    assert (step["outcome"], step["points"], step["possible"], step["critical"]) == ("met", 4, 4, True)
    assert step["shown"][0]["evidence"]["text"] == "stemmer sign positive on the left"


def test_what_the_checklist_wants_and_was_not_said_is_remarked(tmp_path: Path) -> None:
    without = "\n".join(line for line in RUN.read_text(encoding="utf-8").splitlines() if "stemmer" not in line)
    (tmp_path / "run.txt").write_text(without, encoding="utf-8")
    page = " ".join(said("read", tmp_path / "run.txt", "--pack", PACK, "--checklist", "fernhollow").split())
    assert "“Stemmer sign negative bilaterally”" in page
    assert "Fernhollow looks for lymphedema in every leg." in page
    assert "not met  Stemmer sign" in said("mark", tmp_path / "run.txt", "--pack", PACK, "--rubric", "fernhollow")


def test_a_run_made_with_another_version_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CROWNSOLE_ARCHIVE", str(tmp_path / "archive.sqlite3"))
    pack = version(tmp_path / "pack", "1.2.0")
    said("read", RUN, "--pack", pack, "--checklist", "fernhollow", "--keep")
    assert told("runs", "show", "last") == ""
    shutil.rmtree(pack)
    load.__globals__["_load"].cache_clear()
    assert "made with the pack fernhollow 1.2.0, which is not in use now" in told("runs", "show", "last")
    version(pack, "1.3.0", rubric=("points: 2", "points: 3"))
    for command in (("runs", "show", "last"), ("runs", "again", "last"), ("mark", "last")):
        assert "made with the pack fernhollow 1.2.0; it is 1.3.0 now" in told(*command)
    load.__globals__["_load"].cache_clear()


def told(*arguments: str) -> str:
    """What a command says beside its result about packs."""
    done: Any = CliRunner().invoke(app, list(arguments))
    assert done.exit_code == 0, (done.output, done.exception)
    return "".join(line for line in done.stderr.splitlines() if "pack" in line)


@pytest.mark.model
def test_the_examples_term_is_heard(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    try:
        model = find_model(fetch=False).path
    except ModelError as error:
        pytest.skip(f"the acoustic model is not on this machine: {error}")
    if not shutil.which("flite"):
        pytest.skip("needs the command flite to speak")
    monkeypatch.setenv("CROWNSOLE_CACHE", str(tmp_path / "cache"))
    lines = said("model", "explain", "stemmer sign", "--pack", PACK, "--model", model).splitlines()
    assert lines[0].startswith("stemmer: ")
    assert "not heard" not in lines[0]
    text = "no edema of the lower extremities. stemmer sign negative bilaterally. dorsalis pedis pulses two plus"
    subprocess.run(["flite", "-voice", "slt", "-t", text, "-o", str(tmp_path / "said.wav")], check=True)
    made = said("hear", tmp_path / "said.wav", "--pack", PACK, "--model", model, "--format", "json")
    heard = Record.model_validate_json(made)
    found = [entry for _, entry in heard.entries().values() if entry.concept == "stemmer_sign"]
    assert [(entry.status, entry.side) for entry in found] == [("absent", "both")]
    assert found[0].evidence.start is not None
