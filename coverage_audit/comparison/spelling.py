"""What a path is to a filesystem that folds names: upper and lower case, Unicode forms, dots and blanks at the end.

Canonical caseless matching of the Unicode Standard (section 3.13, D145); that FAT and its kin drop dots and blanks at
the end of a name is Microsoft's "Naming Files, Paths, and Namespaces". Names that are no UTF-8 are folded by nobody.
"""

from __future__ import annotations

import unicodedata
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

_AT_THE_END = r"[. ]+(/|$)"
_LENIENT = pc.CastOptions(target_type=pa.string(), allow_invalid_utf8=True)


def folded(paths: Any) -> Any:
    """Return the folded form of an Arrow array of paths as text; null where a path is no UTF-8."""
    ascii_only = pc.string_is_ascii(pc.cast(paths, options=_LENIENT))
    plain = pc.ascii_lower(pc.cast(pc.if_else(ascii_only, paths, pa.scalar(b"", pa.binary())), pa.string()))
    if not pc.all(ascii_only, min_count=0).as_py():
        others = pc.indices_nonzero(pc.invert(ascii_only))
        forms = pa.array([_folded_text(path.as_py()) for path in paths.take(others)], pa.string())
        plain = pc.replace_with_mask(plain, pc.invert(ascii_only), forms)
    return pc.replace_substring_regex(plain, _AT_THE_END, r"\1")


def _folded_text(path: bytes) -> str | None:
    try:
        text = path.decode("utf-8")
    except UnicodeDecodeError:
        return None
    return unicodedata.normalize("NFD", unicodedata.normalize("NFD", text).casefold())
