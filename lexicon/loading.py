"""Reads all files of the lexicon and of packs into one frozen Lexicon."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from lexicon.reading import LexiconError, LinedData, read_model
from lexicon.schema import FILES, Concept, Entry, FindingsFile, Region, Site, Source

DATA = Path(__file__).parent / "data"
ANY = "any"


@dataclass(frozen=True, eq=False)
class Lexicon:
    """All knowledge, frozen. ``home`` tells the station of a concept or site ("any" for shared words).

    ``files`` holds the merged model of every other kind of file by its name without suffix;
    ``origins`` where each entry stands ("file, line n"); ``version`` is a hash of all that was read.
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
    reader = _Reader()
    for folder in (DATA, *(Path(pack) for pack in packs)):
        reader.read_folder(folder)
    lexicon = reader.lexicon(packs)
    from lexicon.checks import faults  # late: checks know the Lexicon

    found = [*reader.faults, *faults(lexicon)]
    if found:
        raise LexiconError(found)
    return lexicon


class _Reader:
    """Collects files of one or more folders; later entries replace earlier ones of the same id."""

    def __init__(self) -> None:
        self.faults: list[str] = []
        self.digest = hashlib.sha256()
        self.findings: dict[str, FindingsFile] = {}
        self.files: dict[str, Entry] = {}
        self.origins: dict[tuple[str, str], str] = {}

    def read_folder(self, folder: Path) -> None:
        if not folder.is_dir():
            self.faults.append(f"{folder}: no such folder; a pack is a folder of lexicon files")
            return
        seen: set[tuple[str, str]] = set()
        for path in sorted(folder.rglob("*.yaml")):
            name = path.relative_to(folder).parts[0]
            if name in FILES:
                self.read_file(path, name, seen)
            elif path.name != "pack.yaml":
                known = ", ".join(FILES)
                self.faults.append(f"{path}: not a known lexicon file; known are {known}")

    def read_file(self, path: Path, name: str, seen: set[tuple[str, str]]) -> None:
        self.digest.update(path.read_bytes())
        try:
            model, lined = read_model(path, FILES[name])
        except LexiconError as error:
            self.faults.extend(error.faults)
            return
        self.note_origins(model, lined, seen)
        key = model.region if isinstance(model, FindingsFile) else name.removesuffix(".yaml")
        store: dict[str, Any] = self.findings if isinstance(model, FindingsFile) else self.files
        store[key] = merged(store[key], model) if key in store else model

    def note_origins(self, model: Entry, lined: LinedData, seen: set[tuple[str, str]]) -> None:
        for field in type(model).model_fields:
            for i, entry in enumerate(value if isinstance(value := getattr(model, field), tuple) else ()):
                if hasattr(entry, "id"):
                    key = (field, entry.id)
                    if key in seen:
                        self.faults.append(lined.fault((field, i), f"'{entry.id}' is also at {self.origins[key]}"))
                    seen.add(key)
                    self.origins[key] = f"{lined.path}, line {lined.line((field, i))}"

    def lexicon(self, packs: tuple[str, ...]) -> Lexicon:
        home: dict[str, str] = {}
        sites: dict[str, Site] = {}
        concepts: dict[str, Concept] = {}
        for region, file in self.findings.items():
            for site in file.sites:
                sites[site.id] = site
                home.setdefault(site.id, region)
            for concept in file.concepts:
                source = concept.source or file.source
                concepts[concept.id] = concept.model_copy(update={"source": source})
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
        )


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
