"""What all lexicon entries share."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict

from lexicon.forms import expand


class Entry(BaseModel):
    """A frozen piece of knowledge; unknown keys are refused so that a slip of the pen is seen."""

    model_config = ConfigDict(frozen=True, extra="forbid")


def _as_tuple(value: object) -> object:
    if value is None:
        return ()
    return (value,) if isinstance(value, str) else value


def _expanded(forms: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(way.lower() for form in forms for way in expand(form)))


def _identifier(value: str) -> str:
    if not value or not value.replace("_", "").isalnum() or value != value.lower():
        raise ValueError("an id is lower-case letters, digits and _")
    return value


#: One string or a list of strings.
Strings = Annotated[tuple[str, ...], BeforeValidator(_as_tuple)]
#: Spoken forms in the notation of :mod:`lexicon.forms`, expanded.
Forms = Annotated[tuple[str, ...], BeforeValidator(_as_tuple), AfterValidator(_expanded)]
Id = Annotated[str, AfterValidator(_identifier)]
Ids = Annotated[tuple[Id, ...], BeforeValidator(_as_tuple)]
