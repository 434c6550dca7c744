"""Finding a finding by the id that a person typed."""

from __future__ import annotations

from coverage_audit.errors import UsageError
from coverage_audit.estate.spelling import nearest
from coverage_audit.evidence.visible import visible
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.record import StoredFinding


def stored_finding(ledger: Ledger, finding: str) -> StoredFinding:
    """Return a finding as it was last answered. Raises UsageError, with the id most like it, where there is none."""
    stored = ledger.last_finding(finding)
    if stored is not None:
        return stored
    known = ledger.finding_ids()
    if not known:
        raise UsageError("no audit has been recorded in this state folder yet; run `coverage-audit audit` first")
    guess = nearest(finding, known)
    hint = f"did you mean '{guess}'?" if guess else "`coverage-audit audit` prints the ids in brackets"
    raise UsageError(f"no audit has answered a finding '{visible(finding)}'; {hint}")
