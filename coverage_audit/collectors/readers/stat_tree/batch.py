"""One batch of paths that find handed to stat: the records, the count made on the box, the targets of its links."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from coverage_audit.collectors.readers.stat_tree.complaints import MARK
from coverage_audit.collectors.transport import TransportError
from coverage_audit.collectors.walked import REPLACED
from coverage_audit.errors import EvidenceError
from coverage_audit.evidence.batches.printed import Printed
from coverage_audit.evidence.batches.stat_lines import links_without_target, stat_records, with_targets
from coverage_audit.evidence.facts import GapKind
from coverage_audit.evidence.manifest import Blind

_COUNT: Final = re.compile(rb"([0-9]{1,3}) ([0-9]{1,9})")
NOT_READ: Final = "where this link leads could not be read"


@dataclass(frozen=True, kw_only=True)
class Batch:
    """Rows with targets (None: no record came), blind links, and how many paths have no record but a complaint."""

    printed: Printed | None
    blind: tuple[Blind, ...]
    unseen: int


def batch_of_fields(lines: bytes, counted: bytes, links: Mapping[bytes, bytes]) -> Batch:
    """Read a batch. `links` are paths and what readlink printed of each, with its newline.

    Raises TransportError (CUT) where records are missing that stat did not complain of.
    """
    found = _COUNT.fullmatch(counted)
    if found is None:
        raise TransportError(GapKind.MALFORMED, "a batch of the listing has no count")
    status, count = int(found.group(1)), int(found.group(2))
    try:
        printed = stat_records(lines, MARK) if lines else None
    except EvidenceError as error:
        raise TransportError(GapKind.MALFORMED, str(error)) from error
    unseen = count - (len(printed.batch) if printed else 0)
    if unseen < 0 or status != (1 if unseen else 0):
        raise TransportError(
            GapKind.CUT, f"stat was given {count} paths, {unseen} have no record, and it ended with status {status}"
        )
    if printed is None:
        return Batch(printed=None, blind=(), unseen=unseen)
    targets = {relative(path): said[:-1] for path, said in links.items() if said.endswith(b"\n")}
    unread = frozenset(relative(path) for path, said in links.items() if not said.endswith(b"\n"))
    blind = tuple(
        Blind(path=path, why=NOT_READ if path in unread else REPLACED)
        for path in links_without_target(printed, targets)
    )
    return Batch(printed=with_targets(printed, targets), blind=blind, unseen=unseen)


def relative(path: bytes) -> bytes:
    """Return a path below the root as a row has it."""
    if not path.startswith(MARK):
        raise TransportError(GapKind.MALFORMED, "a link of the listing does not lie below its root")
    return path[len(MARK) :].lstrip(b"/")
