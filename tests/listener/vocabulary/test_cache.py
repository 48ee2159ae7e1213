"""Compiled vocabularies in the cache: kept, checked, made again when damaged, made once by two at a time."""

from __future__ import annotations

import errno
import threading
import time
from pathlib import Path

import pytest

import lexicon
from listener.errors import LexiconInvalid, StorageError
from listener.model import ModelFolder
from listener.vocabulary import Recipe, Restorer, Way, cache, compiled


@pytest.fixture
def model(tmp_path: Path) -> ModelFolder:
    for name, text in {"am/final.mdl": "sound", "conf/model.conf": "--beam=10.0\n--lattice-beam=2.0\n",
                       "conf/mfcc.conf": "--sample-frequency=16000\n", "graph/Gr.fst": "stock",
                       "graph/HCLr.fst": "h"}.items():
        (tmp_path / "model" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "model" / name).write_text(text)
    return ModelFolder(tmp_path / "model", "tiny", False, "fingerprint", True)


class Builder:
    """Stands for the compiler: writes the three files and counts how often it is asked to."""

    def __init__(self, pause: float = 0.0, error: Exception | None = None) -> None:
        self.built = 0
        self.pause = pause
        self.error = error

    def __call__(self, folder: Path, knowledge: object, target: Path, recipe: Recipe, progress: object) -> None:
        self.built += 1
        time.sleep(self.pause)
        if self.error:
            raise self.error
        (target / "Gr.fst").write_bytes(b"compiled" * 100)
        (target / "words.txt").write_text("a 1\n")
        Restorer([Way("bruit", ("brew", "e"))]).save(target / "ways.json")


@pytest.fixture
def builder(monkeypatch: pytest.MonkeyPatch) -> Builder:
    stand_in = Builder()
    monkeypatch.setattr(cache, "build", stand_in)
    return stand_in


def test_it_is_made_once(model: ModelFolder, builder: Builder, tmp_path: Path) -> None:
    first = compiled(model, lexicon.load(), cache=tmp_path / "cache")
    second = compiled(model, lexicon.load(), cache=tmp_path / "cache")
    assert builder.built == 1
    assert first.path == second.path
    assert second.spellings.of_word("bruit")[0].pieces == ("brew", "e")
    assert second.folder.vocabulary == second.name
    assert not second.remarks


def test_the_copy_has_the_model_s_files_and_the_measured_settings(
    model: ModelFolder, builder: Builder, tmp_path: Path
) -> None:
    made = compiled(model, lexicon.load(), cache=tmp_path / "cache")
    assert (made.path / "am/final.mdl").read_text() == "sound"
    assert "--lattice-beam=6.0" in (made.path / "conf/model.conf").read_text()
    assert (model.path / "graph/Gr.fst").read_text() == "stock"


@pytest.mark.parametrize(
    "name", ["graph/Gr.fst", "graph/ways.json", "graph/words.txt", "conf/model.conf", "vocabulary.json"]
)
@pytest.mark.parametrize("harm", ["cut", "remove"])
def test_a_damaged_cache_is_made_anew_and_said(
    model: ModelFolder, builder: Builder, tmp_path: Path, name: str, harm: str
) -> None:
    path = compiled(model, lexicon.load(), cache=tmp_path / "cache").path / name
    path.write_bytes(path.read_bytes()[:-1]) if harm == "cut" else path.unlink()
    again = compiled(model, lexicon.load(), cache=tmp_path / "cache")
    assert builder.built == 2
    assert "damaged and has been made anew" in again.remarks[0]
    assert compiled(model, lexicon.load(), cache=tmp_path / "cache").remarks == ()


def test_another_recipe_or_lexicon_is_another_vocabulary(model: ModelFolder, builder: Builder, tmp_path: Path) -> None:
    (tmp_path / "pack").mkdir()
    (tmp_path / "pack" / "pack.yaml").write_text("name: tried\nversion: 1.0.0\n")
    terms = tmp_path / "pack" / "findings" / "neck.yaml"
    terms.parent.mkdir()
    terms.write_text("region: neck\nconcepts: [{id: zorbule, label: zorbule, forms: [zorbule], source: C}]\n")
    names = {
        compiled(model, lexicon.load(), cache=tmp_path / "cache").name,
        compiled(model, lexicon.load(), cache=tmp_path / "cache", recipe=Recipe(weight=0.45)).name,
        compiled(model, lexicon.load([tmp_path / "pack"]), cache=tmp_path / "cache").name,
    }
    assert len(names) == builder.built == 3


def test_two_at_a_time_make_it_once(model: ModelFolder, builder: Builder, tmp_path: Path) -> None:
    builder.pause = 0.3
    knowledge = lexicon.load()
    waited: list[str] = []
    found: list[Path] = []

    def work() -> None:
        told = compiled(model, knowledge, cache=tmp_path / "cache", progress=lambda step, *_: waited.append(step))
        found.append(told.path)

    threads = [threading.Thread(target=work) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert builder.built == 1
    assert len(found) == 3
    assert "another process is compiling the vocabulary" in waited


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (OSError(errno.ENOSPC, "No space left on device"), (StorageError, "No space left on device.*Make room")),
        (LexiconInvalid("neck.yaml, line 3: 'ω' cannot be said"), (LexiconInvalid, "line 3")),
    ],
)
def test_a_failure_leaves_nothing_behind(
    model: ModelFolder, builder: Builder, tmp_path: Path, error: Exception, told: tuple[type[Exception], str]
) -> None:
    builder.error = error
    with pytest.raises(told[0], match=told[1]):
        compiled(model, lexicon.load(), cache=tmp_path / "cache")
    assert [path for path in (tmp_path / "cache" / "vocabularies").iterdir() if path.is_dir()] == []
    builder.error = None
    assert compiled(model, lexicon.load(), cache=tmp_path / "cache").remarks == ()


def test_old_vocabularies_are_forgotten(model: ModelFolder, builder: Builder, tmp_path: Path) -> None:
    for i in range(6):
        compiled(model, lexicon.load(), cache=tmp_path / "cache", recipe=Recipe(weight=i / 10))
    kept = [path for path in (tmp_path / "cache" / "vocabularies").iterdir() if path.is_dir()]
    assert len(kept) == cache._KEPT


def test_a_model_that_cannot_be_compiled_is_used_as_it_is_and_said(
    model: ModelFolder, builder: Builder, tmp_path: Path
) -> None:
    whole = ModelFolder(model.path, "large", False, "other", False)
    used = compiled(whole, lexicon.load(), cache=tmp_path / "cache")
    assert (used.path, used.name, builder.built) == (model.path, None, 0)
    assert "large cannot be replaced; it is used as it is" in used.remarks[0]
