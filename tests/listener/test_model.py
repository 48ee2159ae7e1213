"""The acoustic model: found, fetched by either way, verified, refetched when damaged; folders the user names."""

from __future__ import annotations

import hashlib
import os
import sys
import threading
import time
import zipfile
from pathlib import Path

import pytest

from listener import model, model_fetch
from listener.errors import ModelError
from listener.locking import locked
from listener.model import ENVIRONMENT, find_model, given_model, missing_parts, stock_folder, verify_stock

FILES = {"am/final.mdl": b"acoustics", "graph/Gr.fst": b"language", "graph/HCLr.fst": b"graph",
         "graph/disambig_tid.int": b"1", "graph/phones/word_boundary.int": b"1", "conf/mfcc.conf": b"--x=1",
         "conf/model.conf": b"--y=1"}


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty cache, and a stock model of a few bytes instead of the real list."""
    sums = tmp_path / "model.sha256"
    sums.write_text("".join(f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in FILES.items()))
    monkeypatch.setattr(model, "_SUMS", sums)
    monkeypatch.setattr(model, "cache_folder", lambda: tmp_path / "cache")
    monkeypatch.delenv(ENVIRONMENT, raising=False)
    model.stock_sums.cache_clear()
    yield tmp_path  # type: ignore[misc]
    model.stock_sums.cache_clear()


def archive(path: Path, files: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("assets/model-en-us/../../../escaped", b"never unpacked")
        for name, data in files.items():
            packed.writestr(f"assets/model-en-us/{name}", data)
    return path


def fake_maven(home: Path, monkeypatch: pytest.MonkeyPatch, files: dict[str, bytes] | None) -> Path:
    """A command mvn that hands out an archive (or fails), and counts how often it was run."""
    tools = home / "tools"
    tools.mkdir(exist_ok=True)
    runs = home / "runs"
    script = f"#!/bin/sh\necho run >> '{runs}'\n"
    if files is None:
        script += "echo '[ERROR] the repository could not be reached'\nexit 1\n"
    else:
        packed = archive(home / "stored.aar", files)
        script += 'for word in "$@"; do case $word in -DoutputDirectory=*) to=${word#*=};; esac; done\n'
        script += "printf 'Progress (1): 1.0/41 MB\\rProgress (1): 41/41 MB\\r'\n"
        script += f"/bin/cp '{packed}' \"$to/model.aar\"\n"
    (tools / "mvn").write_text(script)
    (tools / "mvn").chmod(0o755)
    monkeypatch.setenv("PATH", str(tools))
    return runs


def no_download(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(model_fetch, "_VOSK_DOWNLOAD", "print('Error: the network could not be reached')")


needs_shell = pytest.mark.skipif(sys.platform == "win32", reason="the stand-in for Maven is a shell script")


@needs_shell
def test_fetched_once_by_maven_then_found(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    runs = fake_maven(home, monkeypatch, FILES)
    told: list[tuple[float, float | None]] = []
    first = find_model(progress=lambda step, done=0.0, total=None: told.append((done, total)))
    assert (first.stock, first.replaceable, first.remarks) == (True, True, ())
    assert {name: (first.path / name).read_bytes() for name in FILES} == FILES
    assert (41.0, 41.0) in told
    assert not (home / "escaped").exists()
    assert find_model(fetch=False) == first
    assert runs.read_text().count("run") == 1
    assert not list(stock_folder().parent.glob(".fetching-*"))


@needs_shell
def test_damaged_cache_is_noticed_fetched_anew_and_said(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fake_maven(home, monkeypatch, FILES)
    folder = find_model().path
    (folder / "graph/Gr.fst").write_bytes(b"lanGuage")
    (folder / "conf/mfcc.conf").unlink()
    with pytest.raises(ModelError, match=r"missing: conf/mfcc.conf; changed: graph/Gr.fst"):
        find_model(fetch=False)
    again = find_model()
    assert "fetched anew" in again.remarks[0]
    assert not verify_stock(again.path)


def test_verify_sees_a_change_that_keeps_size_and_time(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name, data in FILES.items():
        (stock_folder() / name).parent.mkdir(parents=True, exist_ok=True)
        (stock_folder() / name).write_bytes(data)
    assert not verify_stock(stock_folder())
    changed = stock_folder() / "am/final.mdl"
    before = changed.stat()
    changed.write_bytes(b"Acoustics")
    os.utime(changed, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert find_model(fetch=False).stock  # the quick check cannot see it
    assert verify_stock(stock_folder()).changed == ("am/final.mdl",)


@needs_shell
@pytest.mark.parametrize("files", [None, {**FILES, "am/final.mdl": b"other"}, {"am/final.mdl": b"acoustics"}])
def test_when_no_way_works_all_three_are_named(
        home: Path, monkeypatch: pytest.MonkeyPatch, files: dict[str, bytes] | None) -> None:
    fake_maven(home, monkeypatch, files)
    no_download(monkeypatch)
    with pytest.raises(ModelError) as told:
        find_model()
    assert told.value.exit_code == 4
    for part in ("Maven: ", "Vosk's downloader: the network could not be reached", "--model", ENVIRONMENT):
        assert part in str(told.value)
    assert not stock_folder().exists()
    assert not list(stock_folder().parent.glob(".fetching-*"))


@needs_shell
def test_downloader_serves_where_maven_is_absent(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = home / "downloaded"
    for name, data in FILES.items():
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        (place / name).write_bytes(data)
    monkeypatch.setenv("PATH", "")
    monkeypatch.setattr(model_fetch, "_VOSK_DOWNLOAD", f"print({str(place)!r})")
    assert find_model().stock
    (place / "am/final.mdl").write_bytes(b"other")
    (stock_folder() / "am/final.mdl").unlink()
    with pytest.raises(ModelError, match=r"am/final\.mdl is not the file that was expected"):
        find_model()


def test_nothing_is_fetched_when_not_allowed(home: Path) -> None:
    with pytest.raises(ModelError, match="not on this machine yet"):
        find_model(fetch=False)


@pytest.mark.parametrize("gone", [*FILES])
def test_incomplete_folder_names_what_is_missing(tmp_path: Path, gone: str) -> None:
    for name in FILES:
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(b"" if name == gone else b"x")
    assert missing_parts(tmp_path) == (gone,)
    with pytest.raises(ModelError, match=gone):
        given_model(tmp_path)


def test_named_folder_comes_first_and_is_used_as_it_is(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = home / "larger-model"
    for name in ("am/final.mdl", "graph/HCLG.fst", "graph/words.txt", "graph/phones/word_boundary.int",
                 "conf/mfcc.conf", "conf/model.conf"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(b"x")
    found = find_model(folder)
    assert (found.name, found.stock, found.replaceable) == ("larger-model", False, False)
    monkeypatch.setenv(ENVIRONMENT, str(folder))
    assert find_model() == found
    (folder / "graph/words.txt").write_bytes(b"y")
    assert find_model().fingerprint != found.fingerprint
    with pytest.raises(ModelError, match=r"Did you mean .*larger-model\?"):
        given_model(home)
    with pytest.raises(ModelError, match="is a file"):
        given_model(folder / "graph/words.txt")
    with pytest.raises(ModelError, match="does not exist"):
        given_model(home / "nowhere")


def test_lock_keeps_others_out(tmp_path: Path) -> None:
    order: list[str] = []

    def other() -> None:
        with locked(tmp_path / "lock", lambda: order.append("waits")):
            order.append("enters")

    with locked(tmp_path / "lock"):
        thread = threading.Thread(target=other)
        thread.start()
        time.sleep(0.3)
        order.append("leaves")
    thread.join()
    assert order == ["waits", "leaves", "enters"]
