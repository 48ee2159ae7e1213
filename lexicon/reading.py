"""Reads lexicon files: YAML with line numbers, checked against the schema, errors with file and line.

Only strings, lists and mappings are read from YAML: ``no`` stays "no" and ``12:30`` stays "12:30";
the schema turns text into numbers and truth values where it asks for them.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any, TypeVar

import yaml
from pydantic import BaseModel, ValidationError

Path_ = tuple[str | int, ...]
Model = TypeVar("Model", bound=BaseModel)


class LexiconError(ValueError):
    """One or more faults in lexicon files; ``faults`` holds a sentence for each, with file and line."""

    def __init__(self, faults: Iterable[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(self.faults))


class LinedData:
    """Plain data of one file, and the line on which every part of it begins."""

    def __init__(self, path: Path, data: Any, lines: dict[Path_, int]) -> None:
        self.path = path
        self.data = data
        self._lines = lines

    def line(self, place: Path_) -> int:
        """The line of a place, or of the nearest part that holds it."""
        while place not in self._lines and place:
            place = place[:-1]
        return self._lines.get(place, 1)

    def fault(self, place: Path_, message: str) -> str:
        return f"{self.path}, line {self.line(place)}: {message}"


def read_yaml(path: Path) -> LinedData:
    """Read one file. Raises :class:`LexiconError` for bad YAML, repeated keys or unreadable text."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise LexiconError([f"{path}: cannot be read ({error})"]) from None
    loader = yaml.CSafeLoader(text) if hasattr(yaml, "CSafeLoader") else yaml.SafeLoader(text)
    try:
        node = loader.get_single_node()
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = mark.line + 1 if mark else 1
        raise LexiconError([f"{path}, line {line}: {error.problem or error.context}"]) from None
    finally:
        loader.dispose()
    lines: dict[Path_, int] = {}
    faults: list[str] = []
    data = _plain(node, (), lines, faults, path)
    if faults:
        raise LexiconError(faults)
    return LinedData(path, data, lines)


def _plain(node: yaml.Node | None, place: Path_, lines: dict[Path_, int], faults: list[str], path: Path) -> Any:
    if node is None:
        return {}
    lines[place] = node.start_mark.line + 1
    if isinstance(node, yaml.ScalarNode):
        return None if node.value in ("", "~", "null") and node.style is None else node.value
    if isinstance(node, yaml.SequenceNode):
        return [_plain(child, (*place, i), lines, faults, path) for i, child in enumerate(node.value)]
    result: dict[str, Any] = {}
    assert isinstance(node, yaml.MappingNode)
    for key_node, child in node.value:
        key = str(key_node.value)
        if key in result:
            faults.append(f"{path}, line {key_node.start_mark.line + 1}: '{key}' is given twice; keep one")
        result[key] = _plain(child, (*place, key), lines, faults, path)
    return result


def read_model(path: Path, model: type[Model]) -> tuple[Model, LinedData]:
    """Read a file into its schema model. Raises :class:`LexiconError` with every fault of the file."""
    lined = read_yaml(path)
    try:
        return model.model_validate(lined.data), lined
    except ValidationError as error:
        raise LexiconError(
            [lined.fault(_place(lined, fault["loc"]), _sentence(fault)) for fault in error.errors()]
        ) from None


def _place(lined: LinedData, location: tuple[str | int, ...]) -> Path_:
    """Pydantic's location without the names of union branches, which are no part of the file."""
    place: list[str | int] = []
    here: Any = lined.data
    for step in location:
        if (isinstance(here, dict) and step in here) or (isinstance(here, list) and isinstance(step, int)):
            here = here[step]  # type: ignore[index]
            place.append(step)
    return tuple(place)


def _sentence(fault: Any) -> str:
    where = ".".join(str(step) for step in fault["loc"] if not isinstance(step, int))
    got = fault.get("input")
    shown = f" (got {got!r})" if isinstance(got, (str, int, float, bool)) else ""
    if fault["type"] == "extra_forbidden":
        return f"'{fault['loc'][-1]}' is not a known key here"
    if fault["type"] == "missing":
        return f"'{fault['loc'][-1]}' is missing"
    message = fault["msg"].removeprefix("Value error, ")
    return f"{where}: {message}{shown}"
