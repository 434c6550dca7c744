"""The gate's text, which is sent along with every request: `deploy/gate` of a checkout, or its copy in the package."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Final

from coverage_audit.errors import CollectionError

_PACKAGE: Final = Path(__file__).resolve().parents[1]


def gate_file() -> Path:
    """Return where the gate lies. Raises CollectionError where the installation lost it."""
    for file in (_PACKAGE / "defaults" / "gate", _PACKAGE.parent / "deploy" / "gate"):
        if file.is_file():
            return file
    raise CollectionError("the gate is not there (the installation is not whole: install it again)")


@cache
def gate_text() -> bytes:
    """Return its text, read once in each process. Raises CollectionError where it cannot be read."""
    try:
        return gate_file().read_bytes()
    except OSError as error:
        raise CollectionError(f"the gate cannot be read: {error}") from error
