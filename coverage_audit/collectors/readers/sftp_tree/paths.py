"""Paths as they are asked for over SFTP."""

from __future__ import annotations

import os
from typing import Final

from coverage_audit.evidence.visible import visible

_LONGEST: Final = 4096  # bytes of a path that a system takes, its end included (PATH_MAX, Linux limits.h)
_LONGEST_NAME: Final = 255


def start_of(root: str) -> bytes:
    """Return the root as it is opened: with `/.` behind it, so that a root that is a link is followed."""
    return os.fsencode(root).rstrip(b"/") + b"/."


def entered(root: str, path: bytes) -> bytes:
    """Return a folder below the root as it is opened.

    With `/.` behind it, for which the account must be allowed to search it: of a folder that may only be listed
    OpenSSH's server leaves out every entry without a word.
    """
    return below(root, path) + b"/." if path else start_of(root)


def is_too_deep(place: bytes) -> bool:
    """Whether names in the folder opened as `place` may be too far down to be asked for: they would be left out."""
    return len(place) + 1 + _LONGEST_NAME >= _LONGEST


def below(root: str, path: bytes) -> bytes:
    """Return a path below the root."""
    return os.fsencode(root).rstrip(b"/") + b"/" + path


def shown(root: str) -> str:
    """Return the root as messages show it."""
    return visible(os.fsencode(root).rstrip(b"/")) or "/"
