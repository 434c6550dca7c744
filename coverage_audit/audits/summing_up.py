"""What a weekly page is made of: the newest whole audit as it was judged, and the year before, out of the ledger."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Final

from coverage_audit.audits.damaged_since import as_drilled_since, damaged_since
from coverage_audit.audits.declared_since import unjudged
from coverage_audit.estate.changes import EstateChange
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import Estate
from coverage_audit.judgement.verdict import JudgedEstate
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.ledger.past_record import LastJudged, LookBack

YEAR: Final = timedelta(days=365)
WEEK: Final = timedelta(days=7)


@dataclass(frozen=True, kw_only=True)
class SummedUp:
    """All that there is to tell at `now`. `last` None: no audit of all datasets is on record.

    `since` is when each open finding began. The week is what came after `week_from`: after the last page that went
    out, or seven days where that is less. `unjudged` is what was declared otherwise since that audit, and
    what drills found damaged.
    """

    last: LastJudged | None
    back: LookBack
    since: Mapping[str, datetime]
    week_from: datetime
    now: datetime
    unjudged: tuple[EstateChange, ...] = ()

    @property
    def judged(self) -> JudgedEstate | None:
        """What the newest whole audit judged, with what drills found since (None: it cannot be known)."""
        return None if self.last is None else self.last.judged


def sum_up(estate: Estate, ledger: Ledger, now: datetime) -> SummedUp:
    """Gather what is to be told at `now`, under the names of today. Raises LedgerError."""
    begin, last = now - YEAR, ledger.past.last_judged()
    if last is not None and last.judged is not None:
        last = replace(last, judged=as_drilled_since(last.judged, estate, ledger))
    return SummedUp(
        last=last,
        back=ledger.past.look_back(begin, now, lineage_of(estate), daily=estate.time_zone),
        since=ledger.open_since(),
        week_from=max(begin, _week_from(ledger, now)),
        now=now,
        unjudged=() if last is None else _unjudged(last, estate, ledger),
    )


def _unjudged(last: LastJudged, estate: Estate, ledger: Ledger) -> tuple[EstateChange, ...]:
    return (*damaged_since(estate, ledger, lambda _: last.started), *unjudged(last.estate_text, estate))


def _week_from(ledger: Ledger, now: datetime) -> datetime:
    told = [record.sent for record in ledger.summaries.all() if record.sent is not None and record.sent < now]
    return min(now - WEEK, max(told, default=now))
