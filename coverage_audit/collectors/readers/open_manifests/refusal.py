"""Why an open manifest is no evidence: where, what is wrong, and how to mend it."""

from __future__ import annotations

from coverage_audit.errors import CollectionError
from coverage_audit.evidence.visible import visible


class OpenManifestError(CollectionError):
    """A manifest in an open format is wrong or hostile. `line` counts from 1 (None: the file as a whole).

    `within` names the file of several (of a bag). Names in `why` must be visible already.
    """

    def __init__(self, why: str, mend: str, *, line: int | None = None, within: bytes = b"") -> None:
        where = ", ".join(filter(None, (visible(within), "" if line is None else f"line {line}")))
        super().__init__(f"{where}: {why}; {mend}" if where else f"{why}; {mend}")
        self.why = why
        self.mend = mend
        self.line = line
        self.within = within
