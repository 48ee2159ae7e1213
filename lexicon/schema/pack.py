"""The manifest of a school's pack: what it is called, and which version it is."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator

from lexicon.schema.base import Entry


def _name(value: str) -> str:
    if not 1 <= len(value) <= 60 or not value.replace("-", "").replace("_", "").isalnum() or value != value.lower():
        raise ValueError("the name of a pack is lower-case letters, digits, - and _, at most 60")
    return value


def _version(value: str) -> str:
    parts = value.split(".")
    if len(parts) != 3 or not all(p.isascii() and p.isdigit() and str(int(p)) == p and len(p) < 7 for p in parts):
        raise ValueError("a version is three numbers, as in 1.4.0: raise the first when old marks no longer compare")
    return value


class PackFile(Entry):
    """``version`` counts as semantic versions do: the first number tells of breaking changes."""

    name: Annotated[str, AfterValidator(_name)]
    version: Annotated[str, AfterValidator(_version)]
    title: str = ""
    note: str = ""
