"""The daemon's log: one line an event, as JSON where a service manager keeps it, as plain text for people.

Whatever a value holds leaves through `visible`: a line stays one line. Nothing that holds an address is ever handed
to the log; libraries that name addresses in what they say are not heard.
"""

from __future__ import annotations

import json
import logging
import math
import os
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Final, TextIO

from coverage_audit.evidence.visible import visible

Value = str | int | float | None

_RESERVED: Final = frozenset({"time", "level", "event"})
_TELL_ADDRESSES: Final = ("urllib3", "requests", "apprise", "paramiko")
_FIELDS: Final = "fields_of_the_event"


class Log:
    """Says one event a line. Never raises: a log that cannot be written costs its lines and nothing else."""

    def __init__(self, stream: TextIO, *, as_json: bool) -> None:
        handler = _Unbreakable(stream)
        handler.setFormatter(_AsJson() if as_json else _AsText())
        self._logger = logging.Logger("coverage_audit", logging.INFO)  # noqa: LOG001 - it belongs to one daemon
        self._logger.addHandler(handler)

    def __call__(self, event: str, /, **fields: Value) -> None:
        """Say what happened. `event` is a few words of ours; `fields` are plain values, None where there is none."""
        self._say(logging.INFO, event, fields)

    def trouble(self, event: str, /, **fields: Value) -> None:
        """Say what went wrong: the same at the level "warning"."""
        self._say(logging.WARNING, event, fields)

    def _say(self, level: int, event: str, fields: Mapping[str, Value]) -> None:
        self._logger.log(level, "%s", event, extra={_FIELDS: fields})

    def hear_libraries(self) -> None:
        """Take the warnings of libraries into this log, save of those that would repeat an address.

        For the process that owns its whole logging: it replaces what the root logger had.
        """
        root = logging.getLogger()
        root.handlers = list(self._logger.handlers)
        root.setLevel(logging.WARNING)
        for name in _TELL_ADDRESSES:
            logging.getLogger(name).handlers = [logging.NullHandler()]
            logging.getLogger(name).propagate = False


def open_log(environment: Mapping[str, str], stream: TextIO, *, as_json: bool | None = None) -> Log:
    """Return the log on a stream; where `as_json` is not said, JSON only where a service manager reads it."""
    return Log(stream, as_json=_is_kept_by_a_manager(environment, stream) if as_json is None else as_json)


def _is_kept_by_a_manager(environment: Mapping[str, str], stream: TextIO) -> bool:
    """Say whether a service manager keeps what is written (systemd.exec, JOURNAL_STREAM and INVOCATION_ID).

    Both variables are inherited by whatever a service starts, a terminal too: so the stream itself is looked at.
    """
    try:
        behind = os.fstat(stream.fileno())
        terminal = stream.isatty()
    except (OSError, ValueError):
        return False
    if "JOURNAL_STREAM" in environment:
        return environment["JOURNAL_STREAM"] == f"{behind.st_dev}:{behind.st_ino}"
    return "INVOCATION_ID" in environment and not terminal


class _Unbreakable(logging.StreamHandler[TextIO]):
    """Drops what it cannot write: a full disk or a reader that went away must not end a night."""

    def handleError(self, record: logging.LogRecord) -> None:  # noqa: N802 - the library's name
        """Do nothing."""


class _AsJson(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        entry: dict[str, Value] = {
            "time": _instant(record).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "event": visible(record.getMessage()),
        }
        for name, value in _fields(record).items():
            entry[f"{name}_" if name in _RESERVED else name] = _plain(value)
        return json.dumps(entry)


class _AsText(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        mark = "" if record.levelno < logging.WARNING else "! "
        said = [f"{name}={_word(value)}" for name, value in _fields(record).items() if value is not None]
        return " ".join([f"{_instant(record):%Y-%m-%d %H:%M:%SZ} {mark}{visible(record.getMessage())}", *said])


def _instant(record: logging.LogRecord) -> datetime:
    return datetime.fromtimestamp(record.created, UTC)


def _fields(record: logging.LogRecord) -> Mapping[str, Value]:
    """Return an event's fields; of what a library said who said it, and the kind of the exception behind it."""
    fields: Mapping[str, Value] | None = getattr(record, _FIELDS, None)
    if fields is not None:
        return fields
    kind = record.exc_info[0] if record.exc_info else None
    return {"library": record.name, "exception": None if kind is None else kind.__name__}


def _plain(value: Value) -> Value:
    """Return a value as JSON can hold it (RFC 8259 section 6 knows no infinity and no NaN)."""
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    return visible(value) if isinstance(value, str) else value


def _word(value: Value) -> str:
    """Return a value as one word, in quotes where it is none."""
    text = visible(str(value))
    return text if text and not set(text) & set(' "=') else json.dumps(text, ensure_ascii=False)
