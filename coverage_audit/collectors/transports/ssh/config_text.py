"""The text of an ssh configuration with its `Include`s put in, and nothing in it that would run a command.

The library that reads it follows no `Include`, takes an unknown `Match` for one that matches, and runs what
`Match exec` names. So the text is gone through first: what could mislead is refused by file and line.
"""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Final

from coverage_audit.collectors.transport import TransportError
from coverage_audit.evidence.facts import GapKind

_LINE: Final = re.compile(r"\s*(\w+)(?:\s*=\s*|\s+)(.*?)\s*$")
_DEEPEST: Final = 16  # as ssh_config(5) has it
_HONOURED_MATCH: Final = {"all", "host", "originalhost", "user", "localuser", "final"}


def read_config_text(file: Path, *, must_exist: bool) -> str:
    """Return the whole configuration as text; "" for a file that does not exist and need not.

    Raises TransportError (NOT_YET) for what cannot be read or honoured.
    """
    if not must_exist and not file.exists():
        return ""
    return "\n".join(_lines(file, 0))


def _lines(file: Path, depth: int) -> list[str]:
    if depth > _DEEPEST:
        raise TransportError(GapKind.NOT_YET, f"{file}: Include goes round in circles")
    try:
        text = file.read_text(encoding="utf-8", errors="surrogateescape")
    except OSError as error:
        raise TransportError(GapKind.NOT_YET, f"cannot read {file}: {os.strerror(error.errno or 0)}") from error
    found: list[str] = []
    in_block = False
    for number, line in enumerate(text.splitlines(), start=1):
        match = _LINE.match(line)
        keyword = match[1].lower() if match else ""
        rest = match[2] if match else ""
        if keyword == "match":
            _refuse_strange(f"{file}:{number}", rest)
        if keyword == "include":
            found += _included(f"{file}:{number}", rest, in_block=in_block, depth=depth)
            continue
        in_block = in_block or keyword in {"host", "match"}
        found.append(line)
    return found


def _refuse_strange(place: str, rest: str) -> None:
    words = rest.replace("=", " ").lower().split()
    criteria = [words[0]] if words[:1] in (["all"], ["final"]) else words[::2]
    strange = [word for word in criteria if word.lstrip("!") not in _HONOURED_MATCH]
    if strange:
        raise TransportError(
            GapKind.NOT_YET,
            f"{place}: `Match {strange[0]}` cannot be honoured (nothing is run on the auditor's machine on a "
            "configuration's behalf); name a configuration of its own with config_file",
        )


def _included(place: str, rest: str, *, in_block: bool, depth: int) -> list[str]:
    if in_block:
        raise TransportError(
            GapKind.NOT_YET,
            f"{place}: an Include inside a Host or Match block cannot be honoured; move it to the top",
        )
    found: list[str] = []
    for pattern in rest.replace('"', "").split():
        full = Path("~/.ssh").expanduser() / Path(pattern).expanduser()  # ssh_config(5): relative to ~/.ssh
        for file in sorted(Path(full.anchor).glob(str(full.relative_to(full.anchor)))):
            found += _lines(file, depth + 1)
    return [*found, "Host *"]  # what follows the Include belongs to no block of the included file
