"""The samples, end to end: from sound to audited note, and the gaps that the second one has."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from lexicon import load
from listener.cli import app
from listener.errors import ModelError
from listener.model import find_model
from parser.pipeline import understand_all
from parser.record import Record
from parser.structurer import file
from parser.transcript import transcript_of_text

SAMPLES = Path(__file__).parents[1] / "samples"


def has_model() -> bool:
    try:
        find_model(fetch=False)
    except ModelError:
        return False
    return True


needs_model = pytest.mark.skipif(
    not has_model(), reason="the acoustic model is not on this machine: crownsole model fetch"
)


def record_of(name: str) -> Record:
    transcript = transcript_of_text((SAMPLES / f"{name}.txt").read_text(encoding="utf-8"), f"{name}.txt")
    return file(understand_all(transcript), transcript, load(), run_id=name)


def facts(record: Record) -> set[tuple[object, ...]]:
    return {
        (entry.concept, entry.status, entry.side, entry.value and entry.value.text)
        for _, entry in record.entries().values()
        if entry.superseded_by is None
    }


@pytest.mark.parametrize("name", ["complete_run", "hurried_run"])
def test_the_page_is_the_expected_one(name: str) -> None:
    done = CliRunner().invoke(app, ["read", str(SAMPLES / f"{name}.txt")])
    assert done.exit_code == 0, done.output
    assert done.stdout == (SAMPLES / f"{name}.note.txt").read_text(encoding="utf-8")


def test_every_gap_of_the_hurried_run_is_named() -> None:
    """What a watchful educator would miss in it (common practice of head-to-toe check-offs)."""
    record = record_of("hurried_run")
    coverage = {region.region: region.coverage for region in record.regions}
    silent = ("head_face", "closing", "ears", "nose_sinuses", "mouth_throat", "neck", "genitourinary")
    assert {region: coverage[region] for region in silent} == dict.fromkeys(silent, "missing")
    rules = {remark.rule.split(".")[0] for remark in record.remarks}
    assert {"missing", "order", "caution"} <= rules


def test_the_complete_run_documents_every_station() -> None:
    record = record_of("complete_run")
    assert [region.region for region in record.regions if region.coverage == "missing"] == []


def test_the_contract_has_the_published_shape() -> None:
    """Keys of ``crownsole-record/1``: what readers of the JSON rely on."""
    plain = json.loads(record_of("hurried_run").model_dump_json())
    assert plain["schema"] == "crownsole-record/1"
    assert set(plain) == {
        "schema",
        "run",
        "words",
        "regions",
        "measures",
        "computed",
        "remarks",
        "amendments",
        "unfiled",
    }
    entry = next(entry for region in plain["regions"] for entry in region["entries"])
    assert set(entry) == {
        "id",
        "concept",
        "label",
        "kind",
        "status",
        "site",
        "side",
        "value",
        "qualifiers",
        "evidence",
        "confidence",
        "confirm",
        "superseded_by",
        "inferred",
    }
    assert set(entry["evidence"]) == {"utterance", "words", "start", "end", "chars", "text"}
    assert Record.model_validate(plain).model_dump(mode="json") == plain


@pytest.mark.model
@needs_model
def test_the_hurried_run_is_heard_and_filed() -> None:
    """Real recognition, end to end: most facts of the text come from the sound as well."""
    done = CliRunner().invoke(app, ["hear", str(SAMPLES / "hurried_run.opus"), "--format", "json"])
    assert done.exit_code == 0, done.output
    heard = Record.model_validate_json(done.stdout)
    said = facts(record_of("hurried_run"))
    assert len(said & facts(heard)) >= 0.75 * len(said), sorted(map(str, said - facts(heard)))
    assert heard.measures["blood_pressure"][0].systolic == 168
    assert all(entry.evidence.start is not None for _, entry in heard.entries().values())
