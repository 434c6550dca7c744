"""The estate in force: what the file says, re-read when its content changed; the last good one where it is broken.

A file that is just being written is read half: what is new counts from the second look on that finds the same.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from coverage_audit.errors import EstateError
from coverage_audit.estate.document import read_text
from coverage_audit.estate.model import Estate
from coverage_audit.estate.reader import estate_of


@dataclass(frozen=True, kw_only=True)
class Refused:
    """Content that is no estate (`content`: its text, or why there is none), and why."""

    content: str
    why: str


@dataclass(frozen=True, kw_only=True)
class InForce:
    """The estate in force, and what was refused since it was read. `seen` is new content, looked at once so far."""

    estate: Estate
    refused: Refused | None = None
    seen: str | None = None

    @property
    def content(self) -> str:
        """The content that was weighed last."""
        return self.estate.text if self.refused is None else self.refused.content


def first(file: Path, kept: str | None) -> InForce:
    """Return the estate with which a daemon starts: the file's, or the one that the ledger `kept`, where it is broken.

    Raises EstateError where neither can be used, or where the file is good and gives no time for the audit.
    """
    content = _content(file)
    weighed = _weighed(content, file)
    if isinstance(weighed, Estate):
        _refuse_no_schedule(weighed, file)
        return InForce(estate=weighed)
    last_good = None if kept is None else _scheduled(_weighed(kept, file), file)
    if not isinstance(last_good, Estate):
        raise EstateError(weighed.why)
    return InForce(estate=last_good, refused=weighed)


def look(file: Path, before: InForce, *, at_once: bool = False) -> InForce:
    """Look at the file again; `at_once`: its owner says that it is whole. Never raises."""
    content = _content(file)
    plain = content.content if isinstance(content, Refused) else content
    if plain == before.content:
        return replace(before, seen=None)
    if plain != before.seen and not at_once:
        return replace(before, seen=plain)
    weighed = _scheduled(_weighed(content, file), file)
    if isinstance(weighed, Estate):
        return InForce(estate=weighed)
    return replace(before, refused=weighed, seen=None)


def _content(file: Path) -> str | Refused:
    try:
        return read_text(file)
    except EstateError as error:
        return Refused(content=str(error), why=str(error))


def _weighed(content: str | Refused, file: Path) -> Estate | Refused:
    if isinstance(content, Refused):
        return content
    try:
        return estate_of(content, file)
    except EstateError as error:
        return Refused(content=content, why=str(error))


def _scheduled(weighed: Estate | Refused, file: Path) -> Estate | Refused:
    if isinstance(weighed, Estate):
        try:
            _refuse_no_schedule(weighed, file)
        except EstateError as error:
            return Refused(content=weighed.text, why=str(error))
    return weighed


def _refuse_no_schedule(estate: Estate, file: Path) -> None:
    if estate.schedule.audit is None:
        raise EstateError(
            f"{file}: the daemon has nothing to do: no time for the audit is declared "
            '(add, for example, `schedule: {audit: "02:30"}`)'
        )
