"""End to end with the acoustic model: a term invented for the test is heard as soon as a pack has it."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

import lexicon
from listener.errors import ModelError
from listener.levels import Loudness, amplified, gain_of
from listener.model import ModelFolder, find_model
from listener.recognizer import Recognizer
from listener.vocabulary import CompiledModel, compiled, explain
from listener.vocabulary.pronounced import pronunciations
from listener.vocabulary.stock import read_stock
from tests.bench.dictation import read_sound

pytestmark = pytest.mark.model

PACK = """region: neck
concepts:
  - {id: zorbule, label: zorbule, nature: abnormal, forms: ["zorbule(s)"], source: C,
     examples: ["no zorbules on the left = absent, , left"]}
"""


@pytest.fixture(scope="module")
def stock() -> ModelFolder:
    try:
        return find_model(fetch=False)
    except ModelError as error:
        pytest.skip(f"the acoustic model is not on this machine: {error}")


@pytest.fixture(scope="module")
def with_pack(stock: ModelFolder, tmp_path_factory: pytest.TempPathFactory) -> CompiledModel:
    folder = tmp_path_factory.mktemp("pack")
    (folder / "findings").mkdir()
    (folder / "findings" / "neck.yaml").write_text(PACK, encoding="utf-8")
    return compiled(stock, lexicon.load([folder]), cache=tmp_path_factory.mktemp("cache"))


def heard(text: str, made: CompiledModel, folder: Path) -> str:
    if not shutil.which("flite"):
        pytest.skip("needs the command flite to speak")
    subprocess.run(["flite", "-voice", "slt", "-t", text, "-o", str(folder / "said.wav")], check=True)
    sound = read_sound(folder / "said.wav")
    loudness = Loudness()
    loudness.add(sound)
    utterances = Recognizer(made.folder, restore=made.restore).utterances([amplified(sound, gain_of(loudness.level))])
    return " ".join(word.text for words in utterances for word in words)


def test_an_invented_term_is_heard(with_pack: CompiledModel, tmp_path: Path) -> None:
    assert "zorbule" in heard("zorbule noted on the left side of the neck", with_pack, tmp_path)


@pytest.mark.parametrize(
    "text",
    ["blood pressure one twenty eight over eighty two", "popliteal pulses two plus bilaterally",
     "no crackles or wheezes"],
)
def test_dictation_is_heard(with_pack: CompiledModel, tmp_path: Path, text: str) -> None:
    assert heard(text, with_pack, tmp_path) == text


def test_everyday_speech_stays_what_it_is(with_pack: CompiledModel, tmp_path: Path) -> None:
    text = "we should leave the house before the rain starts this evening"
    assert heard(text, with_pack, tmp_path) == text


def test_it_tells_how_a_word_is_heard(with_pack: CompiledModel) -> None:
    knowledge = lexicon.load()
    (skin,) = explain("skin", with_pack, knowledge)
    (popliteal,) = explain("popliteal", with_pack, knowledge)
    assert skin.known
    assert popliteal.spellings
    assert "P AA P L IH T IY AH L" in str(popliteal)


def test_the_model_s_own_pronunciations_agree_with_the_dictionary(stock: ModelFolder) -> None:
    """CMU pronouncing dictionary; words of it taken from memory."""
    said = pronunciations(stock.path, read_stock(stock.path / "graph" / "Gr.fst").symbols)
    assert len(said) > 150_000
    assert said["skin"] == (("S", "K", "IH", "N"),)
    assert ("P", "AH", "L", "S") in said["pulse"]


def test_a_damaged_model_is_told_and_nothing_crashes(stock: ModelFolder, tmp_path: Path) -> None:
    shutil.copytree(stock.path, tmp_path / "model")
    graph = tmp_path / "model" / "graph" / "Gr.fst"
    graph.write_bytes(graph.read_bytes()[: 10_000_000])
    harmed = ModelFolder(tmp_path / "model", "harmed", False, "harmed", True)
    with pytest.raises(ModelError, match="damaged"):
        compiled(harmed, lexicon.load(), cache=tmp_path / "cache")
