"""Every dataset: each dataset and each copy that is declared was judged in this audit.

What it asks: that the audit's cases are those of the estate, one for one (of a partial audit: those asked for).

Why: a report that leaves something out reads as if nothing were wrong with it. No dataset at all is no good news.

How to mend: if the estate declares no dataset, declare one; else this is a fault of the program: report it.

The control: NIST SP 800-53 Rev. 5 CM-8 (an inventory that is complete).
"""

from __future__ import annotations

from collections.abc import Iterable

from coverage_audit.estate.model import Dataset
from coverage_audit.judgement.case import DatasetCase
from coverage_audit.judgement.context import EstateContext
from coverage_audit.judgement.rule import Rule, supports
from coverage_audit.judgement.verdict import Answer, EvidenceItem, Finding
from coverage_audit.judgement.wording import joined

RULE = Rule(
    id="every-dataset",
    title="Every dataset judged",
    control=supports("NIST SP 800-53 Rev. 5 CM-8"),
    doc=__doc__ or "",
    waivable=False,
)


def check(context: EstateContext) -> Iterable[Finding]:
    """Hold the cases that were judged against the datasets that are declared."""
    judged = {case.dataset.id: case for case in context.cases}
    wanted = context.estate.datasets if context.whole else tuple(case.dataset for case in context.cases)
    lacking = [part for dataset in wanted for part in _lacking(dataset, judged.get(dataset.id))]
    figures = f"{len(judged)} judged of {len(wanted)} declared"
    yield Finding(
        rule=RULE.id,
        subject="estate",
        answer=Answer.CONFORMITY if wanted and not lacking else Answer.UNVERIFIED,
        measured=figures,
        required="every declared dataset and copy judged",
        message=f"Not judged: {joined(lacking)}." if lacking else f"Datasets: {figures}.",
        mend="Declare a dataset if there is none; else report this as a fault of the program.",
        evidence=(EvidenceItem(what=figures, where="estate", at=context.finished, how="counted"),),
        control=RULE.control,
    )


def _lacking(dataset: Dataset, case: DatasetCase | None) -> list[str]:
    if case is None:
        return [str(dataset.id)]
    seen = {copy.copy.address for copy in case.copies}
    return [f"{dataset.id} at {copy.address}" for copy in dataset.copies if copy.address not in seen]
