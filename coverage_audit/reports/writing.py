"""Writing a page or a text to a file: whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from coverage_audit.errors import ReportError


def write_page(file: Path, page: str) -> None:
    """Write `page` as UTF-8, readable by whom the umask lets; an older page stays until the new one is whole.

    Raises ReportError (EX_CANTCREAT) where it cannot be written.
    """
    write_text(file, page, what="the page", mode=0o666 & ~_umask())


def write_text(file: Path, text: str, *, what: str, mode: int) -> None:
    """Write `text` as UTF-8 with this mode; an older file stays until the new one is whole.

    Raises ReportError (EX_CANTCREAT), naming `what` cannot be written.
    """
    try:
        with tempfile.NamedTemporaryFile(dir=file.parent, prefix=f".{file.name}.", delete=False) as part:
            made = Path(part.name)
            try:
                part.write(text.encode("utf-8"))
                part.flush()
                os.fsync(part.fileno())
                made.chmod(mode)
                made.replace(file)
            except BaseException:
                made.unlink(missing_ok=True)
                raise
    except OSError as error:
        raise ReportError(f"{file}: {what} cannot be written ({error.strerror or error})") from error


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask
