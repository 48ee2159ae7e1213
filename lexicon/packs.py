"""Packs as they are named in a record: name, version, and a hash that signs their content.

The hash is SHA-256 over the canonical JSON of all that is read from the pack's files: comments, blank lines and
the order of keys do not change it, anything else does.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from lexicon.schema.pack import PackFile

MANIFEST = "pack.yaml"


@dataclass(frozen=True, slots=True)
class Pack:
    """One pack. ``version`` is None when it has no manifest; ``sha256`` in hexadecimal."""

    name: str
    version: str | None
    sha256: str
    folder: str

    @property
    def signature(self) -> str:
        """As it stands in a record: "fernhollow 1.2.0 sha256:3f...", without the place on this machine."""
        return f"{self.name} {self.version or '(no version)'} sha256:{self.sha256}"


def signed(folder: str, manifest: PackFile | None, content: Mapping[str, Any]) -> Pack:
    """A pack with its hash; ``content`` is the plain data of every file by its path within the folder."""
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    name = manifest.name if manifest else folder.rstrip("/").rpartition("/")[2] or folder
    return Pack(name, manifest.version if manifest else None, hashlib.sha256(text.encode()).hexdigest(), folder)


def differing(made_with: Iterable[str], now: Iterable[Pack]) -> Iterator[str]:
    """A sentence for every pack that is not what a record was made with; ``made_with`` are signatures."""
    then, here = {}, {pack.name: pack for pack in now}
    made_with = tuple(made_with)
    if any(" sha256:" not in signature for signature in made_with):
        yield "This record was made before packs were signed; whether they have changed cannot be told."
        return
    for signature in made_with:
        name, _, rest = signature.rpartition(" sha256:")
        title, _, version = name.partition(" ")
        then[title] = (version, rest)
    for name in (*then, *(name for name in here if name not in then)):
        if name not in here:
            yield f"This record was made with the pack {name} {then[name][0]}, which is not in use now."
        elif name not in then:
            version = here[name].version or "(no version)"
            yield f"This record was made without the pack {name} {version}, which is in use now."
        elif then[name][1] != here[name].sha256:
            version, mine = then[name][0], here[name].version or "(no version)"
            what = f"is {mine} now" if mine != version else f"has other content now under the same version {mine}"
            yield f"This record was made with the pack {name} {version}; it {what}."
