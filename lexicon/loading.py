"""Reads all files of the lexicon and of packs into one frozen Lexicon."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from lexicon.packs import MANIFEST, Pack, signed
from lexicon.reading import LexiconError, LinedData, read_model
from lexicon.schema import FILES, Concept, Entry, FindingsFile, Region, Site, Source
from lexicon.schema.pack import PackFile

Model = TypeVar("Model", bound=Entry)

DATA = Path(__file__).parent / "data"
ANY = "any"


@dataclass(frozen=True, eq=False)
class Lexicon:
    """All knowledge, frozen. ``home`` tells the station of a concept or site ("any" for shared words).

    ``files`` holds the merged model of every other kind of file by its name without suffix;
    ``origins`` where each entry stands ("file, line n"); ``version`` is a hash of all that was read;
    ``packs`` the folders laid over it, ``signed`` the same with name, version and hash of content.
    """

    version: str
    packs: tuple[str, ...]
    sources: Mapping[str, Source]
    regions: Mapping[str, Region]
    sites: Mapping[str, Site]
    concepts: Mapping[str, Concept]
    home: Mapping[str, str]
    files: Mapping[str, Entry]
    origins: Mapping[tuple[str, str], str]
    signed: tuple[Pack, ...] = ()

    @property
    def region_order(self) -> tuple[str, ...]:
        return tuple(self.regions)


def load(packs: Iterable[str | Path] = ()) -> Lexicon:
    """The lexicon, with packs laid over it in the order given; cached.

    Raises :class:`LexiconError` with every fault found, each with file and line.
    """
    return _load(tuple(str(pack) for pack in packs))


@lru_cache(maxsize=4)
def _load(packs: tuple[str, ...]) -> Lexicon:
    reader = _built_in().copy()
    for folder in packs:
        reader.read_folder(Path(folder))
    lexicon = reader.lexicon(packs)
    from lexicon.checks import faults  # late: checks know the Lexicon

    found = [*reader.faults, *faults(lexicon)]
    if found:
        raise LexiconError(found)
    return lexicon


@lru_cache(maxsize=1)
def _built_in() -> _Reader:
    """The built-in files, read once: packs are laid over a copy."""
    reader = _Reader()
    reader.read_folder(DATA)
    return reader


class _Reader:
    """Collects files of one or more folders; later entries replace earlier ones of the same id."""

    def __init__(self) -> None:
        self.faults: list[str] = []
        self.digest = hashlib.sha256()
        self.findings: dict[str, FindingsFile] = {}
        self.files: dict[str, Entry] = {}
        self.origins: dict[tuple[str, str], str] = {}
        self.signed: list[Pack] = []
        self.content: dict[str, Any] = {}

    def copy(self) -> _Reader:
        """A reader that has read the same, and goes on apart from this one."""
        other = _Reader()
        other.faults, other.signed = list(self.faults), list(self.signed)
        other.digest = self.digest.copy()
        other.findings, other.files, other.origins = dict(self.findings), dict(self.files), dict(self.origins)
        return other

    def read_folder(self, folder: Path) -> None:
        if not folder.is_dir():
            self.faults.append(f"{folder}: no such folder; a pack is a folder of lexicon files")
            return
        seen: set[tuple[str, str]] = set()
        manifest: PackFile | None = None
        self.content = {}
        for path in sorted(folder.rglob("*.yaml")):
            place = path.relative_to(folder)
            if place.parts[0] in FILES:
                self.read_file(path, place, seen)
            elif str(place) == MANIFEST:
                manifest = self.read_model(path, place, PackFile)[0]
            else:
                known = ", ".join((*FILES, MANIFEST))
                self.faults.append(f"{path}: not a known lexicon file; known are {known}")
        if folder != DATA:
            self.note_pack(signed(str(folder), manifest, self.content))

    def note_pack(self, pack: Pack) -> None:
        twin = next((one for one in self.signed if one.name == pack.name), None)
        if twin is not None:
            self.faults.append(f"{pack.folder}: a pack '{pack.name}' is laid over already, from {twin.folder}")
        self.signed.append(pack)

    def read_model(self, path: Path, place: Path, kind: type[Model]) -> tuple[Model | None, LinedData | None]:
        """The model of a file, and where its parts stand; its faults are kept, and what it holds is signed."""
        try:
            model, lined = read_model(path, kind)
        except LexiconError as error:
            self.faults.extend(error.faults)
            return None, None
        self.content[place.as_posix()] = lined.data
        return model, lined

    def read_file(self, path: Path, place: Path, seen: set[tuple[str, str]]) -> None:
        self.digest.update(path.read_bytes())
        name = place.parts[0]
        model, lined = self.read_model(path, place, FILES[name])
        if model is None or lined is None:
            return
        self.note_origins(model, lined, seen)
        model = _sourced(model)
        key = model.region if isinstance(model, FindingsFile) else name.removesuffix(".yaml")
        store: dict[str, Any] = self.findings if isinstance(model, FindingsFile) else self.files
        store[key] = merged(store[key], model) if key in store else model

    def note_origins(self, model: Entry, lined: LinedData, seen: set[tuple[str, str]]) -> None:
        for field, i, entry in _named(model):
            self.note_origin((field, entry.id), (field, i), lined, seen)
            for part, n, inner in _named(entry):
                self.note_origin((f"{field}.{part}", f"{entry.id}/{inner.id}"), (field, i, part, n), lined, seen)

    def note_origin(
        self, key: tuple[str, str], place: tuple[str | int, ...], lined: LinedData, seen: set[tuple[str, str]]
    ) -> None:
        if key in seen:
            name = key[1].rpartition("/")[2]
            self.faults.append(lined.fault(place, f"'{name}' is also at {self.origins[key]}"))
        seen.add(key)
        self.origins[key] = f"{lined.path}, line {lined.line(place)}"

    def lexicon(self, packs: tuple[str, ...]) -> Lexicon:
        home: dict[str, str] = {}
        sites: dict[str, Site] = {}
        concepts: dict[str, Concept] = {}
        for region, file in self.findings.items():
            for site in file.sites:
                sites[site.id] = site
                home.setdefault(site.id, region)
            for concept in file.concepts:
                concepts[concept.id] = concept
                home.setdefault(concept.id, region)
        regions = getattr(self.files.get("regions"), "regions", ())
        sources = getattr(self.files.get("sources"), "sources", ())
        return Lexicon(
            version=self.digest.hexdigest()[:16],
            packs=packs,
            sources=MappingProxyType({source.id: source for source in sources}),
            regions=MappingProxyType({region.id: region for region in regions}),
            sites=MappingProxyType(sites),
            concepts=MappingProxyType(concepts),
            home=MappingProxyType(home),
            files=MappingProxyType(dict(self.files)),
            origins=MappingProxyType(dict(self.origins)),
            signed=tuple(self.signed),
        )


def _sourced(model: Entry) -> Entry:
    """Findings with the source of their own file where they name none: files of packs are merged into others."""
    if not isinstance(model, FindingsFile):
        return model
    sourced = (c if c.source else c.model_copy(update={"source": model.source}) for c in model.concepts)
    return model.model_copy(update={"concepts": tuple(sourced)})


def _named(model: Entry) -> Iterator[tuple[str, int, Any]]:
    """Field, place and value of every entry with an id in the lists of a model."""
    for field in type(model).model_fields:
        value = getattr(model, field)
        for i, entry in enumerate(value if isinstance(value, tuple) else ()):
            if hasattr(entry, "id"):
                yield field, i, entry


def merged(base: Any, extra: Any) -> Any:
    """``base`` with the entries of ``extra``: same id replaces, new ids follow, ``remove`` takes away."""
    removed = set(getattr(extra, "remove", ()))
    update: dict[str, Any] = {}
    for field in type(base).model_fields:
        old, new = getattr(base, field), getattr(extra, field)
        if isinstance(old, tuple) and all(hasattr(item, "id") for item in (*old, *new)):
            by_id = {item.id: item for item in old if item.id not in removed}
            by_id.update({item.id: item for item in new})
            update[field] = tuple(by_id.values())
        elif field in extra.model_fields_set:
            update[field] = new
    return base.model_copy(update=update)
