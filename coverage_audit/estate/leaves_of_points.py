"""The single values by which an estate file says where recovery points are told."""

from __future__ import annotations

import re
from typing import Annotated, Final

import jmespath
from jmespath.exceptions import JMESPathError
from pydantic import WithJsonSchema

from coverage_audit.estate.leaf import from_text, text_schema, word
from coverage_audit.estate.mistakes import did_you_mean, shown
from coverage_audit.estate.patterns import check_point_pattern

_ZFS_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.: -]*(?:/[A-Za-z0-9_.: -]+)*")
_LONGEST_ARGUMENT: Final = 4096


def _inner_path(text: str) -> str:
    parts = [part for part in text.split("/") if part not in {"", "."}]
    if text.startswith("/") or ".." in parts or "\0" in text or not text:
        raise ValueError(f"{shown(text)} is no path below the volume (write it relative to the volume's own path)")
    return "/".join(parts)


def _zfs_name(text: str) -> str:
    if not _ZFS_NAME.fullmatch(text):
        raise ValueError(f"{shown(text)} is no ZFS dataset (write pool/name, without '@')")
    return text


def _argument(text: str) -> str:
    if "\0" in text or "\n" in text or len(text) > _LONGEST_ARGUMENT:
        raise ValueError(f"{shown(text[:80])} is no argument (one line of at most {_LONGEST_ARGUMENT} characters)")
    return text


def _selection(text: str) -> str:
    try:
        jmespath.compile(text)
    except (JMESPathError, ValueError) as error:
        why = str(error).splitlines()[0]
        raise ValueError(f"{shown(text)} is no JMESPath expression: {why} (e.g. snapshots[].time)") from error
    return text


def _line_pattern(text: str) -> str:
    try:
        groups = re.compile(text).groupindex
    except re.error as error:
        raise ValueError(f"{shown(text)} is no regular expression: {error} (Python's syntax)") from error
    if "time" not in groups:
        raise ValueError(f"{shown(text)} does not say where the time is (mark it: (?P<time>...))")
    for name in groups:
        if name not in _GROUPS:
            raise ValueError(f"{shown(text)} marks an unknown part ({did_you_mean(name, _GROUPS)})")
    return text


_GROUPS: Final = ("time", "name", "size")


PointPattern = Annotated[
    str, from_text(check_point_pattern, "pattern"), text_schema("A strptime pattern", "%Y-%m-%dT%H%M%SZ")
]
InnerPath = Annotated[str, from_text(_inner_path, "path"), text_schema("A path below the volume")]
ZfsName = Annotated[str, from_text(_zfs_name, "ZFS dataset"), text_schema("A ZFS dataset", "tank/recordings")]
Argument = Annotated[str, from_text(_argument, "argument (put it in quotes)"), text_schema("One argument")]
Selection = Annotated[
    str, from_text(_selection, "expression (put it in quotes)"), text_schema("A JMESPath expression", "[].time")
]
LinePattern = Annotated[
    str,
    from_text(_line_pattern, "regular expression (put it in quotes)"),
    text_schema("A regular expression with the group 'time'", r"^(?P<name>\S+)\s+(?P<time>\S+)$"),
]
PointsWord = Annotated[
    str,
    word({"folders": "folders", "files": "files"}, "source of points", "; or {folders: pattern}"),
    WithJsonSchema({"enum": ["folders", "files"]}),
]
ReceivedWord = Annotated[
    str,
    word({"received": "received"}, "kind of btrfs points", "; or {snapshot_of: path}"),
    WithJsonSchema({"enum": ["received"]}),
]
