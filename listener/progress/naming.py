"""The names of stations for people, without reading all of the lexicon."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from lexicon import DATA, LexiconError
from lexicon.reading import read_model
from lexicon.schema import FILES

_FILE = "regions.yaml"


def station_names(packs: Iterable[str] = ()) -> Mapping[str, str]:
    """Station -> title, from crown to sole; titles of packs, where they can be read, stand for the built-in ones."""
    names: dict[str, str] = {}
    for path in (DATA / _FILE, *(Path(pack) / _FILE for pack in packs)):
        try:
            model, _ = read_model(path, FILES[_FILE])
        except (LexiconError, OSError):
            continue
        names |= {region.id: region.title for region in getattr(model, "regions", ())}
    return names


def named(region: str, names: Mapping[str, str]) -> str:
    return names.get(region) or region.replace("_", " ").capitalize()
