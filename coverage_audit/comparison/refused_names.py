"""Names among what is missing that usual targets refuse or change, and special files that a copy does not hold."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.compute as pc

from coverage_audit.comparison.relation import read_relation
from coverage_audit.evidence.difference import Seen, Sight

_LONGEST: Final = 255  # bytes of a name on nearly all filesystems
_SIGNS: Final = frozenset('<>:"|?*\\')
_SUSPECT: Final = r'[<>:"|?*\\\x01-\x1f\x7f]|[. ](/|$)'
_LENIENT: Final = pc.CastOptions(target_type=pa.string(), allow_invalid_utf8=True)


def refused_names(relation: Path) -> Iterator[Seen]:
    """Say how many missing files are named so, with one of them and why; and how many special files are not held.

    What is refused: Microsoft, "Naming Files, Paths, and Namespaces". Raises ComparisonError if it cannot be read.
    """
    named: list[tuple[bytes, str]] = []
    special: list[bytes] = []
    count = [0, 0]
    for part in read_relation(relation, ["path", "row_class", "blind", "o_kind"]):
        rows = part.filter(pc.and_not(pc.is_valid(part["o_kind"]), part["blind"]))
        others = rows.filter(pc.equal(rows["o_kind"], "o"))["path"]
        special += others.slice(0, 1).to_pylist()
        missing = rows.filter(pc.and_(pc.equal(rows["row_class"], "missing"), pc.not_equal(rows["o_kind"], "d")))
        found = [(path, why) for path in _suspects(missing["path"]) if (why := refused(path))]
        named += found[:1]
        count = [count[0] + len(found), count[1] + len(others)]
    if named:
        path, why = named[0]
        yield Seen(sight=Sight.REFUSED_NAME, entries=count[0], example=path, beside=why.encode())
    if special:
        yield Seen(sight=Sight.SPECIAL, entries=count[1], example=special[0])


def refused(path: bytes) -> str:
    """Return why usual targets refuse a name in this path or change it (empty: they do not)."""
    try:
        text = path.decode("utf-8")
    except UnicodeDecodeError:
        return "no UTF-8"
    for name in text.split("/"):
        if any(unicodedata.category(sign) == "Cc" for sign in name):
            return "a control character"
        if signs := _SIGNS.intersection(name):
            return f"the sign {min(signs)}"
        if name.endswith((".", " ")):
            return "a dot or blank at the end"
        if any(len(unicodedata.normalize(form, name).encode()) > _LONGEST for form in ("NFC", "NFD")):
            return "too long once its letters are taken apart"
    return ""


def _suspects(paths: Any) -> list[bytes]:
    """Return the paths that may hold such a name, the others sorted out without touching them in Python."""
    text = pc.cast(paths, options=_LENIENT)
    plain = pc.string_is_ascii(text)
    suspect = pc.match_substring_regex(pc.if_else(plain, text, pa.scalar("")), _SUSPECT)
    chosen: list[bytes] = paths.filter(pc.or_(suspect, pc.invert(plain))).to_pylist()
    return chosen
