"""A judged estate as bytes and back: the same value, or none.

Every value bears its own type where several are possible, so that a part of a tree is never read back as the whole
of it. What was written stands beside a digest of the shape of all the types it is made of: it is read back only where
that is still the same, so nothing is ever filled in with a guess.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Callable, Iterator
from collections.abc import Set as AbstractSet
from dataclasses import fields, is_dataclass
from datetime import date, datetime, time, timedelta
from enum import Enum
from functools import cache
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Final, Union, get_args, get_origin, get_type_hints
from zoneinfo import ZoneInfo

from cattrs import Converter
from cattrs.errors import ForbiddenExtraKeysError, StructureHandlerNotFoundError

from coverage_audit.judgement.verdict import JudgedEstate

_FORM: Final = 1
"""Raised when what is written comes to mean something else though no type has changed."""

_UNREADABLE: Final = (
    *(zlib.error, ForbiddenExtraKeysError, StructureHandlerNotFoundError),
    *(TypeError, ValueError, AttributeError, LookupError, OverflowError, RecursionError),
)
"""What reading bytes that were not written here may end in."""

_MICROSECOND: Final = timedelta(microseconds=1)


def written(judged: JudgedEstate) -> bytes:
    """Return a judged estate as bytes. Raises ValueError where they would not give the same value again."""
    try:
        body = zlib.compress(json.dumps(_converter().unstructure(judged), separators=(",", ":")).encode("ascii"))
    except (TypeError, ValueError, AttributeError, KeyError) as error:
        raise ValueError(f"{type(error).__name__}: {error}") from error
    if read(body) != judged:
        raise ValueError("it reads back otherwise")
    return body


def read(body: bytes) -> JudgedEstate:
    """Return the judged estate of bytes that were written in this shape. Raises ValueError for any others."""
    try:
        return _converter().structure(json.loads(zlib.decompress(body)), JudgedEstate)
    except _UNREADABLE as error:
        raise ValueError(f"{type(error).__name__}: {error}") from error


@cache
def shape() -> str:
    """Return the digest of the shape of all types that a judged estate is made of."""
    told = sorted(_told(one) for one in _reached(JudgedEstate, set()))
    return hashlib.sha256("\n".join((str(_FORM), *told)).encode("utf-8")).hexdigest()


def _told(one: type[Any]) -> str:
    if issubclass(one, Enum):
        return f"{one.__name__}: {', '.join(f'{member.name}={member.value!r}' for member in one)}"
    return f"{one.__name__}: {', '.join(f'{part.name}: {part.type}' for part in fields(one))}"


def _reached(of: Any, seen: set[type[Any]]) -> set[type[Any]]:
    """Gather the dataclasses and enumerations below a type."""
    supertype = getattr(of, "__supertype__", of)
    if isinstance(supertype, type) and supertype not in seen and (is_dataclass(supertype) or _is_enum(supertype)):
        seen.add(supertype)
        below: Iterator[Any] = iter(get_type_hints(supertype).values()) if is_dataclass(supertype) else iter(())
    else:
        below = iter(get_args(of))
    for one in below:
        _reached(one, seen)
    return seen


def _is_enum(one: type[Any]) -> bool:
    return issubclass(one, Enum)


@cache
def _converter() -> Converter:
    """Make the converter; it refuses what it does not know, in values and in keys."""
    converter = Converter(
        forbid_extra_keys=True, detailed_validation=False, unstruct_collection_overrides={AbstractSet: sorted}
    )
    for kind in (datetime, date, time):
        converter.register_unstructure_hook(kind, lambda value: value.isoformat())
        converter.register_structure_hook(kind, lambda value, of: of.fromisoformat(value))
    converter.register_unstructure_hook(timedelta, lambda value: value // _MICROSECOND)
    converter.register_structure_hook(timedelta, lambda value, _: value * _MICROSECOND)
    converter.register_unstructure_hook(bytes, lambda value: value.decode("latin-1"))
    converter.register_structure_hook(bytes, lambda value, _: value.encode("latin-1"))
    converter.register_unstructure_hook_func(lambda of: of is Path, str)
    converter.register_structure_hook_func(lambda of: of is Path, lambda value, _: Path(value))
    converter.register_unstructure_hook(ZoneInfo, lambda value: value.key)
    converter.register_structure_hook(ZoneInfo, lambda value, _: ZoneInfo(value))
    converter.register_unstructure_hook_factory(_is_ambiguous, lambda union: _marking(converter, union))
    converter.register_structure_hook_factory(_is_ambiguous, lambda union: _by_mark(converter, union))
    return converter


def _members(union: Any) -> dict[str, type[Any]]:
    return {one.__name__: one for one in get_args(union) if one is not NoneType}


def _is_ambiguous(of: Any) -> bool:
    return get_origin(of) in {Union, UnionType} and len(_members(of)) > 1


def _marking(converter: Converter, union: Any) -> Callable[[Any], Any]:
    known = {one: (name, converter.get_unstructure_hook(one)) for name, one in _members(union).items()}

    def marked(value: Any) -> Any:
        if value is None:
            return None
        name, hook = known[type(value)]
        return [name, hook(value)]

    return marked


def _by_mark(converter: Converter, union: Any) -> Callable[[Any, Any], Any]:
    known = {name: (one, converter.get_structure_hook(one)) for name, one in _members(union).items()}

    def told(value: Any, _: Any) -> Any:
        if value is None:
            return None
        name, body = value
        one, hook = known[name]
        return hook(body, one)

    return told
