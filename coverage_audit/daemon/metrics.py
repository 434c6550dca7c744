"""Figures for those who collect metrics: OpenMetrics 1.0 text, written whole to the file that the estate names.

Ages are instants and never spans or words such as "overdue": a file that nobody writes any more must not go on saying
that all is well. Only the types gauge and counter are used, which older readers of such files know as well.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from glob import escape
from pathlib import Path
from typing import Final

from coverage_audit.audits.status import Status
from coverage_audit.errors import ReportError
from coverage_audit.evidence.visible import visible
from coverage_audit.judgement.verdict import Conclusion
from coverage_audit.judgement.waiving import ASKED
from coverage_audit.ledger.past_record import NightOutcome
from coverage_audit.reports.writing import write_text

MODE: Final = 0o644
"""Who collects metrics is another account."""

_PREFIX: Final = "coverage_audit_"
_Sample = tuple[Mapping[str, str], float]


@dataclass(frozen=True, kw_only=True)
class _Family:
    """One family of metrics; a counter's samples end in `_total`, a unit is the end of the name."""

    name: str
    doc: str
    samples: Iterable[_Sample]
    kind: str = "gauge"
    unit: str = ""

    def lines(self) -> Iterator[str]:
        name = f"{_PREFIX}{self.name}"
        yield f"# TYPE {name} {self.kind}"
        if self.unit:
            yield f"# UNIT {name} {self.unit}"
        yield f"# HELP {name} {self.doc}"
        suffix = "_total" if self.kind == "counter" else ""
        for labels, value in self.samples:
            said = ",".join(f'{label}="{_escaped(text)}"' for label, text in labels.items())
            yield f"{name}{suffix}{f'{{{said}}}' if said else ''} {value}"


def write_metrics(file: str, status: Status) -> None:
    """Write the metrics file anew (`~` is the daemon's home). Raises ReportError.

    What a killed daemon left half written beside it goes: one is written every few minutes, for years.
    """
    try:
        target = Path(file).expanduser()
    except RuntimeError:  # an account without a home
        raise ReportError(f"the metrics cannot be written to {file}: this account has no home") from None
    for left in target.parent.glob(f".{escape(target.name)}.????????"):  # as `tempfile` names them
        with suppress(OSError):
            left.unlink()
    write_text(target, metrics_text(status), what="the metrics", mode=MODE)


def metrics_text(status: Status) -> str:
    """Return how the auditor stands as OpenMetrics text."""
    families = [*_of_audits(status), *_of_nights(status), *_of_datasets(status), *_of_notices(status)]
    return "\n".join([*(line for family in families for line in family.lines()), "# EOF"]) + "\n"


def _of_audits(status: Status) -> Iterator[_Family]:
    last, times = status.last, status.times
    yield _instants("written", "When these figures were written.", [({}, status.at)])
    yield _instants(
        "last_audit_finished",
        "When an audit of all datasets last finished.",
        [({}, None if last is None else last.finished)],
    )
    yield _instants(
        "expected_audit",
        "An audit that finished before this instant is overdue.",
        [({}, times.expected)],
    )
    yield _instants("next_audit", "When the next audit begins.", [({}, times.audit)])
    yield _instants("next_summary", "When the next weekly page is made.", [({}, times.summary)])
    yield _Family(
        name="conclusion",
        doc="Of the last audit, or what is worse since: 1 for the one that holds.",
        samples=[] if status.conclusion is None else _one_of({}, status.conclusion),
    )


def _of_nights(status: Status) -> Iterator[_Family]:
    counts = status.nights
    yield _Family(
        name="nights",
        doc="Nights that ended, by how.",
        kind="counter",
        samples=[({"outcome": outcome.value}, counts.ended.get(outcome, 0)) for outcome in NightOutcome],
    )
    yield _Family(name="nights_missed", doc="Nights without audit.", kind="counter", samples=[({}, counts.missed)])


def _of_datasets(status: Status) -> Iterator[_Family]:
    answers = Counter(one.finding.answer for one in status.failing)
    judged = [(one.id, one.last) for one in status.datasets if one.last is not None]
    yield _Family(
        name="dataset_conclusion",
        doc="Of each dataset: 1 for the one that holds; what was never judged is unverified.",
        samples=[sample for one in status.datasets for sample in _one_of({"dataset": one.id}, one.conclusion)],
    )
    for name, doc, unit, of in (
        ("dataset_bytes", "Size of each dataset's original when it was judged last.", "bytes", "bytes"),
        ("dataset_exposed_bytes", "Size of what no copy holds.", "bytes", "exposed_bytes"),
        ("dataset_exposed_files", "Files that no copy holds.", "files", "exposed_files"),
    ):
        known = [({"dataset": dataset}, value) for dataset, day in judged if (value := getattr(day, of)) is not None]
        yield _Family(name=name, doc=doc, unit=unit, samples=known)
    yield _Family(
        name="open_findings",
        doc="Criteria not met, or not told.",
        samples=[({"answer": answer.value}, answers[answer]) for answer in sorted(ASKED)],
    )
    yield _instants(
        "evidence",
        "When each part of the estate was last seen.",
        [({"kind": one.kind.value, "name": one.name}, one.at) for one in status.evidence],
    )
    yield _Family(name="waived_findings", doc="Findings that are waived.", samples=[({}, status.waived)])
    yield _Family(name="waivers_ending", doc="Waivers that end within 14 days.", samples=[({}, len(status.waivers))])


def _of_notices(status: Status) -> Iterator[_Family]:
    waiting = Counter(one.target for one in status.undelivered)
    oldest = {one.target: one.created for one in sorted(status.undelivered, key=lambda one: one.created, reverse=True)}
    yield _Family(
        name="undelivered_notices",
        doc="Notices that no service took yet.",
        samples=[({"target": target}, waiting[target]) for target in status.targets],
    )
    yield _instants(
        "oldest_undelivered_notice",
        "When the oldest of them was put into the outbox.",
        [({"target": target}, created) for target, created in sorted(oldest.items())],
    )


def _instants(name: str, doc: str, samples: Iterable[tuple[Mapping[str, str], datetime | None]]) -> _Family:
    """Return a family of Unix times; an instant that is not known has no sample."""
    known = [(labels, at.timestamp()) for labels, at in samples if at is not None]
    return _Family(name=f"{name}_timestamp_seconds", doc=doc, samples=known, unit="seconds")


def _one_of(labels: Mapping[str, str], holds: Conclusion) -> Iterator[_Sample]:
    for conclusion in Conclusion:
        yield {**labels, "conclusion": conclusion.value}, int(conclusion is holds)


def _escaped(text: str) -> str:
    """Return a label's value: made visible first, then escaped (OpenMetrics 1.0, "Escaping")."""
    return visible(text).replace("\\", r"\\").replace('"', r"\"")
