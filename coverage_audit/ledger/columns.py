"""Column types that keep what they are given, on every database: instants, words, paths, JSON."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import DateTime, LargeBinary, Text
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator


class Instant(TypeDecorator[datetime]):
    """An aware instant, stored and returned in UTC. A naive one is refused (ValueError).

    SQLite would drop an offset without a word, so it gets naive UTC.
    """

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Turn into UTC."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"an instant without a zone: {value.isoformat()}")
        utc = value.astimezone(UTC)
        return utc.replace(tzinfo=None) if dialect.name == "sqlite" else utc

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Return aware UTC."""
        del dialect
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Words(TypeDecorator[str]):
    """Text. What a database cannot store (lone surrogates, NUL) is stored as its visible escape."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        """Escape what cannot be stored; the same for a value that is looked up."""
        del dialect
        return None if value is None else value.encode("utf-8", "backslashreplace").decode().replace("\0", r"\x00")


class PathBytes(TypeDecorator[str]):
    """A path: text with surrogates for bytes that are no UTF-8, stored as its bytes."""

    impl = LargeBinary
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> bytes | None:
        """Return the bytes."""
        del dialect
        return None if value is None else value.encode("utf-8", "surrogateescape")

    def process_result_value(self, value: bytes | None, dialect: Dialect) -> str | None:
        """Return the text."""
        del dialect
        return None if value is None else bytes(value).decode("utf-8", "surrogateescape")


class Json(TypeDecorator[Any]):
    """A JSON value as ASCII text, so that no name in it can be one that the database refuses."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        """Write it."""
        del dialect
        return None if value is None else json.dumps(value, ensure_ascii=True, separators=(",", ":"), sort_keys=True)

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        """Read it."""
        del dialect
        return None if value is None else json.loads(value)
