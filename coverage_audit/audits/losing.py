"""The undertaking of asking what is lost: the newest whole audit that is kept, or a fresh one, with something gone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from coverage_audit.audits.damaged_since import as_drilled_since, damaged_since
from coverage_audit.audits.declared_since import unjudged
from coverage_audit.audits.growing import growths_of
from coverage_audit.audits.rates import rates_of
from coverage_audit.estate.changes import EstateChange
from coverage_audit.estate.former import lineage_of
from coverage_audit.estate.model import DatasetId, Estate
from coverage_audit.judgement.domains import Domain
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.ledger.ledger import Ledger
from coverage_audit.scenarios.driving import Replacing
from coverage_audit.scenarios.link_load import LinkLoad, link_loads
from coverage_audit.scenarios.losing import loss_alone, loss_table
from coverage_audit.scenarios.loss import LossTable
from coverage_audit.scenarios.material import material_of


@dataclass(frozen=True, kw_only=True)
class Lost:
    """What is lost. `table` None: there is no whole audit to go by, and `why` says it.

    `changes` were declared, or found damaged by drills, since that audit: it knows nothing of them.
    `loads` are what links between sites have to carry, where all failures were asked about.
    """

    table: LossTable | None
    why: str = ""
    changes: tuple[EstateChange, ...] = ()
    loads: tuple[LinkLoad, ...] = ()


def _worse_since(estate: Estate, ledger: Ledger, since: datetime, now: datetime) -> dict[DatasetId, Conclusion]:
    """Return the datasets that a later audit, of some datasets alone, judged and did not find conforming."""
    later = ledger.past.look_back(since, now, lineage_of(estate)).datasets
    last = {day.dataset: day.conclusion for day in later}
    return {dataset: conclusion for dataset, conclusion in last.items() if conclusion is not Conclusion.CONFORMING}


def lose(
    estate: Estate, ledger: Ledger, now: datetime, domain: Domain | None, replacing: Replacing | None = None
) -> Lost:
    """Judge the newest whole audit again with this failure, or with each there is where none is named.

    Raises LedgerError, UsageError for drives that cannot be replaced.
    """
    last = ledger.past.last_judged()
    if last is None:
        return Lost(table=None, why="no audit of all datasets is recorded yet; run `coverage-audit audit` first")
    if last.judged is None:
        return Lost(table=None, why=f"the last audit cannot be used: {last.why}; run `coverage-audit audit` anew")
    rates = rates_of(estate, estate.datasets, ledger)
    worse = _worse_since(estate, ledger, last.started, now)
    then = last.judged.started
    judged = as_drilled_since(last.judged, estate, ledger)
    material = material_of(estate, judged, at=now, rates=rates, worse_since=worse)
    changes = (*damaged_since(estate, ledger, lambda _: then), *unjudged(last.estate_text, estate))
    if domain is not None:
        return Lost(table=loss_alone(domain, material, replacing), changes=changes)
    return Lost(table=loss_table(material), changes=changes, loads=link_loads(estate, growths_of(estate, ledger, now)))
