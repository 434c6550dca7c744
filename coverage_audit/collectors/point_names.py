"""Where recovery points lie and which part of a name is a point's own."""

from __future__ import annotations

from coverage_audit.collectors.stamps.local_time import NoPointError
from coverage_audit.estate.model import POINT


def folder_of(path: str) -> str:
    """Return the folder that holds `{point}`, of a path that has it."""
    return path.partition(POINT)[0].rpartition("/")[0] or ("/" if path.startswith("/") else "")


def own_name(raw: bytes, path: str) -> str:
    """Return what stands for `{point}` in an entry's name. Raises NoPointError where the name has another shape."""
    before, _, after = path.partition(POINT)
    before, after = before.rpartition("/")[2], after.partition("/")[0]
    try:
        whole = raw.decode("utf-8")
    except UnicodeDecodeError:
        raise NoPointError("its name is no UTF-8") from None
    name = whole.removeprefix(before).removesuffix(after)
    if f"{before}{name}{after}" != whole or not name:
        raise NoPointError(f"it is not named {before}{POINT}{after}")
    return name


def as_folder(name: str) -> str:
    """Return a name that a box told, to be put for `{point}`. Raises NoPointError where it would lead elsewhere."""
    if name in {"", ".", ".."} or "/" in name or "\0" in name:
        raise NoPointError("its name is no name of one folder")
    return name
