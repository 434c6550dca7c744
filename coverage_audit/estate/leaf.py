"""How one value of an estate file is made: from text, with a message for the owner where it is refused."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, TypeVar

from pydantic import PlainValidator, WithJsonSchema

from coverage_audit.estate.mistakes import did_you_mean, shown

_T = TypeVar("_T")


def from_text(read: Callable[[str], _T], kind: str) -> PlainValidator:
    """Make a validator of a function that reads text; what is no text is refused with the `kind` wanted."""

    def validate(value: object) -> _T:
        if not isinstance(value, str):
            raise ValueError(f"{shown(_as_written(value))} is no {kind}")  # noqa: TRY004 - pydantic gathers ValueErrors
        return read(value)

    return PlainValidator(validate)


def _as_written(value: object) -> str:
    if isinstance(value, dict):
        return "{...}"
    return "[...]" if isinstance(value, list) else str(value).lower() if isinstance(value, bool) else str(value)


def text_schema(description: str, *examples: str, **more: object) -> WithJsonSchema:
    """Return what an editor is told of a text."""
    schema: dict[str, Any] = {"type": "string", "description": description, **more}
    if examples:
        schema["examples"] = list(examples)
    return WithJsonSchema(schema)


def word(known: dict[str, _T], kind: str, besides: str = "") -> PlainValidator:
    """Make a validator of the words that may stand here; `besides` says what else may."""

    def read(text: str) -> _T:
        if text not in known:
            raise ValueError(f"{shown(text)} is no {kind} ({did_you_mean(text, known)}{besides})")
        return known[text]

    return from_text(read, f"{kind} (known: {', '.join(known)}{besides})")


def named(pattern: str, kind: str) -> PlainValidator:
    """Make a validator of a name whose refusal never repeats what was written: it may be a secret."""

    def read(text: str) -> str:
        if not re.fullmatch(pattern, text):
            raise ValueError(f"this is no {kind} (name where the address is, not the address itself)")
        return text

    return from_text(read, kind)
